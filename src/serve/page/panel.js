// The pocket panel: faders for the stage in focus and the shot's balance, each from its parameter's declaration.

import { comeIn, line } from "/door.js";

const $ = (id) => document.getElementById(id);
const RANGE = 2000;

await comeIn("operator");
$("panel").hidden = false;
const faders = new Map();

const { say } = line({ opened: () => {}, picture: () => {}, heard: { controls, state } });

function state({ playing, curtain }) {
  $("play").textContent = playing ? "Stop" : "Play";
  $("held").setAttribute("aria-pressed", curtain === "held");
  $("blank").setAttribute("aria-pressed", curtain === "blank");
}

function fader(row) {
  const box = document.createElement("div"), id = `f-${row.address.replaceAll("/", "-")}`;
  box.className = "fader";
  const label = Object.assign(document.createElement("label"), { htmlFor: id, textContent: row.label });
  const value = Object.assign(document.createElement("output"), { htmlFor: id });
  const back = Object.assign(document.createElement("button"), { type: "button", textContent: "⟲", title: "Back to its default" });
  back.setAttribute("aria-label", `${row.label}: back to its default`);
  const slide = Object.assign(document.createElement("input"), { type: "range", id, min: 0, max: RANGE });
  box.append(label, value, back, slide);
  const it = { box, label, value, slide, held: false, sent: null };
  const let_go = () => { if (it.held) { it.held = false; say({ hold: { down: false } }); } };
  slide.onpointerdown = () => { it.held = true; say({ hold: { down: true } }); };
  slide.onpointerup = slide.onpointercancel = slide.onblur = let_go;
  // One message a frame is as fine as anybody sees.
  slide.oninput = () => {
    if (it.sent === null) requestAnimationFrame(() => { say({ set: { target: row.address, to: it.sent / RANGE } }); it.sent = null; });
    it.sent = Number(slide.value);
  };
  back.onclick = () => say({ reset: { target: row.address } });
  return it;
}

function controls({ stage, on, shot, rows }) {
  $("shot").textContent = shot ?? "No shot";
  $("stage-name").textContent = stage ?? "No stage in focus";
  $("on").setAttribute("aria-pressed", on === true);
  $("on").disabled = on === null;
  const there = { stage: [], own: [] };
  for (const row of rows) {
    const it = faders.get(row.address) ?? fader(row);
    faders.set(row.address, it);
    it.label.textContent = row.label;
    it.value.textContent = row.text;
    if (!it.held && it.sent === null) it.slide.value = Math.round(row.at * RANGE);
    it.slide.setAttribute("aria-valuetext", row.text);
    there[row.of === "stage" ? "stage" : "own"].push(it.box);
  }
  for (const [id, boxes] of Object.entries(there)) {
    const now = [...$(id).children];
    if (now.length !== boxes.length || now.some((box, i) => box !== boxes[i])) $(id).replaceChildren(...boxes);
  }
}

for (const button of document.querySelectorAll("[data-press]")) {
  button.onclick = () => { say({ press: { action: button.dataset.press, down: true } }); say({ press: { action: button.dataset.press, down: false } }); };
}
for (const button of document.querySelectorAll("[data-hold]")) {
  const to = (down) => () => { if (button.down !== down) { button.down = down; say({ press: { action: button.dataset.hold, down } }); } };
  button.onpointerdown = to(true);
  button.onpointerup = button.onpointercancel = button.onblur = to(false);
  button.onkeydown = (event) => { if (event.key === " " || event.key === "Enter") { event.preventDefault(); to(true)(); } };
  button.onkeyup = to(false);
}
