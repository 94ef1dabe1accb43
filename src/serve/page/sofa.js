// The sofa: a client's page.

import { comeIn, line, remember } from "/door.js";
import { Screen, display, open } from "/picture.js";
import { Answers } from "/answers.js";

const $ = (id) => document.getElementById(id);

const who = await comeIn();
$("watch").hidden = false;

const screen = new Screen($("picture")), plain = new Screen($("plain"));
let seen = 0, about = null, wiping = false, holding = false, pinning = false, place = null, wanted = "";

const { say } = line({
  opened: () => { seen = 0; wanted = ""; want(); },
  picture: async (packet) => {
    const [it, blob] = open(packet);
    try {
      const shown = await (it.before ? plain : screen).show(it, blob);
      if (shown && !it.before) caption(it);
    } finally { say({ seen: ++seen }); }
  },
  heard: {
    hello: ({ role, name }) => { answers.role = role; answers.name = name; },
    state, nothing, answers: (all) => answers.take(all),
  },
});
const answers = new Answers(say);
answers.role = who.role;
answers.name = who.name;

/// Tells the desk what this window needs.
function want() {
  const box = $("stage").getBoundingClientRect(), dense = Math.min(devicePixelRatio || 1, 2);
  const [width, height] = document.hidden ? [0, 0] : [Math.round(box.width * dense), Math.round(box.height * dense)];
  const show = $("signal").checked ? "rec709" : display();
  const message = { want: { width, height, display: show, before: wiping || holding } };
  const text = JSON.stringify(message);
  if (text !== wanted) { wanted = text; say(message); }
}
new ResizeObserver(want).observe($("stage"));
document.addEventListener("visibilitychange", want);
matchMedia("(color-gamut: p3)").addEventListener?.("change", want);
$("signal").onchange = want;

function put(id, text) { if ($(id).textContent !== text) $(id).textContent = text; }

function caption(it) {
  about = it;
  put("timecode", it.timecode);
  put("shot", it.name ? `${it.shot}  ${it.name}` : "");
  put("look", it.look);
  put("compare", it.compare);
  $("nothing").hidden = true;
  $("frame").hidden = false;
  document.body.style.setProperty("--shape", it.width / it.height);
  const label = `Shot ${it.shot}, ${it.name}${it.look ? `, look ${it.look}` : ""}${it.compare ? `, ${it.compare}` : ""}`;
  if (screen.canvas.getAttribute("aria-label") !== label) screen.canvas.setAttribute("aria-label", label);
  put("about", `${it.width} × ${it.height}, ${it.display === "rec709" ? "Rec. 709 signal shown as sRGB" : it.display === "display-p3" ? "Display P3" : "sRGB"}, ${it.exact ? "exact" : "moving"}`);
  answers.see(it);
}

let curtain = "open";
function state({ show, point, curtain: now, trouble }) {
  document.title = show ? `${show} · Greyhold` : "Greyhold";
  curtain = now;
  $("here").hidden = !point;
  if (point) { $("here").style.left = `${point[0] * 100}%`; $("here").style.top = `${point[1] * 100}%`; }
  if (now === "blank" || (trouble && !about)) nothing({ before: false });
}

function nothing({ before }) {
  if (before) { plain.clear(); return; }
  screen.clear();
  plain.clear();
  about = null;
  put("nothing", curtain === "blank" ? "The operator has closed the curtain." : curtain === "held" ? "The operator is holding the picture." : "No picture at the moment.");
  screen.canvas.setAttribute("aria-label", $("nothing").textContent);
  $("nothing").hidden = false;
  put("compare", "");
}

// Comparing, on this screen alone.
function wipeTo(share) {
  const at = Math.min(1, Math.max(0, share));
  $("wipe-at").value = Math.round(at * 1000);
  $("frame").style.setProperty("--wipe", `${at * 100}%`);
}
function compare() {
  const before = $("plain");
  before.hidden = !(wiping || holding);
  $("line").hidden = !wiping || holding;
  $("wipe-at").hidden = !wiping;
  $("wipe").setAttribute("aria-pressed", wiping);
  $("hold").setAttribute("aria-pressed", holding);
  document.body.classList.toggle("wiping", wiping);
  wipeTo(holding ? 1 : Number($("wipe-at").dataset.at ?? 0.5));
  want();
}
function hold(is) { if (holding !== is) { holding = is; compare(); } }
$("hold").onpointerdown = (event) => { event.preventDefault(); $("hold").setPointerCapture(event.pointerId); hold(true); };
for (const end of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) $("hold").addEventListener(end, () => hold(false));
$("hold").onkeydown = (event) => { if (event.key === " " || event.key === "Enter") { event.preventDefault(); hold(true); } };
$("hold").onkeyup = () => hold(false);
$("hold").oncontextmenu = (event) => event.preventDefault();
function wipe(is) { wiping = is; if (is) pin(false); compare(); }
$("wipe").onclick = () => wipe(!wiping);
function drag(share) { $("wipe-at").dataset.at = Math.min(1, Math.max(0, share)); wipeTo(share); }
$("wipe-at").oninput = () => drag($("wipe-at").value / 1000);

// The picture: a tap is full screen, or a note's place; a drag moves the wipe.
const shareOf = (event) => {
  const box = $("frame").getBoundingClientRect();
  return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
};
let pressed = null;
$("frame").onpointerdown = (event) => {
  if (event.target.closest("button")) return;
  pressed = [event.clientX, event.clientY];
  if (wiping) { $("frame").setPointerCapture(event.pointerId); drag(shareOf(event)[0]); }
};
$("frame").onpointermove = (event) => { if (wiping && pressed) drag(shareOf(event)[0]); };
$("frame").onpointercancel = () => { pressed = null; };
$("frame").onpointerup = (event) => {
  const from = pressed;
  pressed = null;
  if (!from || wiping || Math.hypot(event.clientX - from[0], event.clientY - from[1]) > 12) return;
  if (pinning) begin(shareOf(event)); else whole(!document.body.classList.contains("whole"));
};

function whole(is) {
  document.body.classList.toggle("whole", is);
  const root = document.documentElement;
  if (is && !document.fullscreenElement) root.requestFullscreen?.().catch(() => {});
  if (!is && document.fullscreenElement) document.exitFullscreen?.().catch(() => {});
}
document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement) whole(false); });
$("whole").onclick = () => whole(true);

// Notes.
function pin(is) {
  pinning = is;
  if (is && wiping) wipe(false);
  $("pin").setAttribute("aria-pressed", is);
  document.body.classList.toggle("pinning", is);
  if (!is) $("note").hidden = true;
}
$("pin").onclick = () => { pin(!pinning); if (pinning) screen.canvas.focus(); };
function begin(at) {
  if (!about || at.some((v) => v < 0 || v > 1)) return;
  place = { at, shot: about.name, frame: about.frame };
  const stage = $("stage").getBoundingClientRect(), frame = $("frame").getBoundingClientRect(), form = $("note");
  form.hidden = false;
  const clamp = (v, most) => Math.max(8, Math.min(v, most));
  form.style.left = `${clamp(frame.left - stage.left + at[0] * frame.width + 18, stage.width - form.offsetWidth - 8)}px`;
  form.style.top = `${clamp(frame.top - stage.top + at[1] * frame.height - 20, stage.height - form.offsetHeight - 8)}px`;
  $("note-name").value = answers.name === "client" ? "" : answers.name ?? "";
  $("note-text").focus();
}
$("note").onsubmit = (event) => {
  event.preventDefault();
  const name = $("note-name").value.trim();
  if (name && name !== answers.name) { say({ name }); answers.name = name; remember(name); }
  say({ note: { ...place, text: $("note-text").value } });
  $("note-text").value = "";
  pin(false);
  $("pin").focus();
};
$("note-leave").onclick = () => { pin(false); $("pin").focus(); };
$("approve").onclick = () => {
  if (!about) return;
  if ($("approve").getAttribute("aria-pressed") === "true") say({ withdraw: { shot: about.name } });
  else say({ approve: { shot: about.name, sum: about.sum } });
};
$("list").onclick = () => answers.show($("drawer").hidden);
$("drawer-leave").onclick = () => answers.show(false);

document.addEventListener("keydown", (event) => {
  const typing = event.target.closest?.("textarea, input:not([type])");
  if (event.key === "Escape") {
    // The keyboard goes back to the picture: keys must not go to a form that is gone.
    if (!$("note").hidden || pinning) { pin(false); screen.canvas.focus(); }
    else if (document.body.classList.contains("whole")) whole(false);
    else if (!$("drawer").hidden) answers.show(false);
    return;
  }
  if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Enter" && event.target === screen.canvas) {
    // Without a pointer a note is pinned to the middle.
    if (pinning) begin([0.5, 0.5]); else whole(!document.body.classList.contains("whole"));
    event.preventDefault();
    return;
  }
  switch (event.key.toLowerCase()) {
    case "b": hold(true); break;
    case "w": wipe(!wiping); break;
    case "n": pin(!pinning); if (pinning) screen.canvas.focus(); break;
    case "l": answers.show($("drawer").hidden); break;
    case "f": whole(!document.body.classList.contains("whole")); break;
  }
});
document.addEventListener("keyup", (event) => { if (event.key.toLowerCase() === "b") hold(false); });
addEventListener("blur", () => hold(false));
