// Notes and approvals: pins on the frame, and the list beside it.

const $ = (id) => document.getElementById(id);
const make = (name, properties = {}, ...inside) => {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...inside);
  return made;
};
const day = (when) => new Date(when).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });

export class Answers {
  constructor(say) {
    this.say = say;
    this.notes = [];
    this.approvals = [];
    this.role = "viewer";
    this.about = null;
  }

  take({ notes, approvals }) {
    [this.notes, this.approvals] = [notes, approvals];
    this.#list();
    this.see(this.about);
  }

  /// The frame on view: its pins, and who approved its shot.
  see(about) {
    this.about = about;
    const here = about ? this.notes.filter((n) => n.shot === about.name && n.frame === about.frame) : [];
    const key = JSON.stringify([here.map((n) => [n.id, n.done, n.at])]);
    if (key !== this.key) {
      this.key = key;
      $("pins").replaceChildren(...here.map((note) => {
        const pin = make("button", { type: "button", textContent: note.id + 1, title: `${note.name}: ${note.text}` });
        pin.setAttribute("aria-label", `Note ${note.id + 1} of ${note.name}: ${note.text}`);
        pin.onclick = (event) => { event.stopPropagation(); this.show(true, note.id); };
        const li = make("li", { className: note.done ? "done" : "" }, pin);
        li.style.left = `${note.at[0] * 100}%`;
        li.style.top = `${note.at[1] * 100}%`;
        return li;
      }));
    }
    const of = about ? this.approvals.filter((a) => a.shot === about.name) : [];
    const words = of.map((a) => (a.holds ? `approved by ${a.name}` : `approved by ${a.name}, changed since`)).join(" · ");
    if ($("word-of").textContent !== words) $("word-of").textContent = words;
    const mine = of.some((a) => a.name === this.name && a.holds);
    $("approve").setAttribute("aria-pressed", mine);
    $("approve").textContent = mine ? "Approved" : "Approve";
  }

  #list() {
    const open = this.notes.filter((n) => !n.done).length;
    $("count").textContent = open;
    $("list").setAttribute("aria-label", `Notes, ${open} open`);
    const operator = this.role === "operator";
    $("notes").replaceChildren(...[...this.notes].reverse().map((n) => {
      const li = make("li", { className: n.done ? "done" : "", id: `note-${n.id}` },
        make("span", { className: "said-text", textContent: n.text }),
        make("span", { className: "quiet", textContent: `${n.id + 1} · ${n.name} · ${n.shot} · ${n.timecode}${n.done ? " · done" : ""}` }));
      if (operator) {
        const done = make("button", { type: "button", textContent: n.done ? "Open again" : "Done" });
        done.onclick = () => this.say({ done: { id: n.id, is: !n.done } });
        const out = make("button", { type: "button", textContent: "Take out" });
        out.onclick = () => this.say({ remove: { id: n.id } });
        li.append(make("div", { className: "row" }, done, out));
      }
      return li;
    }));
    if (!this.notes.length) $("notes").append(make("li", { className: "quiet", textContent: "None yet. Press Note, then tap the place." }));
    $("approvals").replaceChildren(...[...this.approvals].reverse().map((a) => make("li", {},
      make("span", { className: "said-text", textContent: a.shot }),
      make("span", { className: "quiet", textContent: `${a.name} · ${day(a.when)}` }),
      ...(a.holds ? [] : [make("span", { className: "warn", textContent: "changed since" })]))));
    if (!this.approvals.length) $("approvals").append(make("li", { className: "quiet", textContent: "Nothing yet." }));
  }

  show(is, id) {
    $("drawer").hidden = !is;
    $("list").setAttribute("aria-expanded", is);
    if (is) (document.getElementById(`note-${id}`) ?? $("drawer")).scrollIntoView({ block: "nearest" });
    if (is) $("drawer-leave").focus(); else $("list").focus();
  }
}
