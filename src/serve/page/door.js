// The door: a word, typed or in the address's fragment, becomes a session; then the line to the desk.

const $ = (id) => document.getElementById(id);

/// A word in the fragment goes no farther than this page, and out of the address at once.
const given = location.hash.slice(1).replace(/[^0-9a-z-]/gi, "");
if (location.hash) history.replaceState(null, "", location.pathname);

const remembered = () => { try { return localStorage.getItem("name") ?? ""; } catch { return ""; } };
export const remember = (name) => { try { localStorage.setItem("name", name); } catch { /* not kept */ } };

const reasons = {
  401: "That word does not let you in. It may have expired: ask the operator.",
  429: "Too many wrong words. Wait five minutes.",
  503: "The room is full. Ask the operator.",
};

async function enter(word, name) {
  const answer = await fetch("/enter", {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ word, name }),
  });
  if (answer.ok) return answer.json();
  throw new Error(reasons[answer.status] ?? `The desk refused that (${answer.status}).`);
}

/// Resolves to who came in: by the fragment, by the cookie, or by the form.
export async function comeIn(role) {
  const fits = (who) => role === undefined || who.role === role;
  let said = "";
  if (given) {
    try {
      const who = await enter(given, remembered());
      if (fits(who)) return who;
    } catch (why) { said = why.message; }
  } else {
    const answer = await fetch("/me").catch(() => null);
    if (answer?.ok) {
      const who = await answer.json();
      if (fits(who)) return who;
    }
  }
  $("refused").textContent = said;
  $("name").value = remembered();
  $("door").hidden = false;
  $("word").focus();
  return new Promise((resolve) => {
    $("enter").onsubmit = async (event) => {
      event.preventDefault();
      try {
        const who = await enter($("word").value, $("name").value);
        if (!fits(who)) throw new Error("That word is for watching; this page needs the operator's.");
        remember($("name").value);
        $("word").value = "";
        $("door").hidden = true;
        resolve(who);
      } catch (why) { $("refused").textContent = why.message; }
    };
  });
}

/// The line to the desk: `heard` gets each message by its one key, `picture` the binary ones. It is taken up again when it breaks.
export function line({ heard, picture, opened }) {
  let socket, patience = 250, over = false;
  const say = (message) => socket?.readyState === 1 && socket.send(JSON.stringify(message));
  const tell = (text) => { $("line-out").textContent = text; $("line-out").hidden = !text; };
  let away;
  const open = () => {
    socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => { patience = 250; tell(""); opened(); };
    socket.onmessage = ({ data }) => {
      if (typeof data !== "string") { picture(data); return; }
      for (const [key, value] of Object.entries(JSON.parse(data))) {
        if (key === "refused") { tell(value); clearTimeout(away); away = setTimeout(() => tell(""), 4000); }
        heard[key]?.(value);
      }
    };
    socket.onclose = async ({ code }) => {
      if (over) return;
      tell(code === 1001 ? "The desk has closed." : "The line to the desk is down; trying again …");
      const who = await fetch("/me").catch(() => null);
      if (code === 4001 || who?.status === 401) { over = true; location.reload(); return; }
      setTimeout(open, patience);
      patience = Math.min(patience * 2, 5000);
    };
  };
  open();
  return { say, tell };
}
