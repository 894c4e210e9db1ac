// The trainer's own screen: notes, what is on the wall, what comes next, the clock, and the answer.

const $ = (id) => document.getElementById(id);
const told = JSON.parse($("lesson").textContent);
const say = (name, slots = {}) => told.words[name].replace(/\{(\w+)\}/g, (_, key) => slots[key] ?? "");
const channel = new BroadcastChannel(`thinstock ${told.query}`);
const made = (name, text, kind) => { const e = document.createElement(name); e.textContent = text; if (kind) e.className = kind; return e; };
let at = { index: 0, line: 0, lines: 0, share: null, revealed: false, began: Date.now() };
let shown = -1;

async function ask(path, body) {
  try {
    const reply = await fetch(path, { method: "POST", body: JSON.stringify({ query: told.query, ...body }), headers: { "content-type": "application/json" } });
    return reply.ok ? await reply.json() : null;
  } catch { return null; }
}

const asking = {};
async function small(place, index, share) {
  const mine = asking[place] = {};
  const scene = index < told.scenes.length ? await ask("/lessons/scene", { index, share, hidden: false, width: 1024 }) : null;
  if (asking[place] !== mine) return;
  if (!scene) { $(place).replaceChildren(made("p", index < told.scenes.length ? "" : say("last"))); return; }
  const drawing = made("div", "");
  drawing.innerHTML = scene.drawing;
  $(place).replaceChildren(made("h3", scene.title), drawing, made("p", scene.numbers.map((n) => `${n.value} ${n.unit}`).join("    ")));
}

/** The answer of what is on the wall now; one that comes after the wall has gone on is dropped. */
async function answered() {
  const mine = asking.answer = {}, scene = told.scenes[at.index];
  $("asked").hidden = !scene.asks;
  if (!scene.asks) return;
  $("asked-text").textContent = scene.asks;
  const found = await ask("/lessons/told", { index: at.index, share: at.share, what: "answer" });
  if (asking.answer !== mine) return;
  $("asked-answer").replaceChildren(...(found?.answer ? [`${found.answer.text} ${found.answer.unit} `, made("span", "", "aside")] : []));
  $("asked-working").textContent = found?.answer?.working.join(" ") ?? "";
  aside();
}

function aside() {
  const words = $("asked-answer").querySelector(".aside");
  if (words) words.textContent = say(at.revealed ? "shown" : "hidden");
}

function show() {
  const scene = told.scenes[at.index];
  $("where").textContent = say("of", { number: at.index + 1, count: told.scenes.length });
  $("scene-title").textContent = scene.title;
  $("said").textContent = say("line", { number: at.line, count: at.lines });
  if (shown !== at.index) {
    shown = at.index;
    const notes = (scene.notes || say("no_notes")).split("\n").filter(Boolean);
    $("notes").replaceChildren(...notes.map((line) => made("p", line)));
    $("asked-answer").replaceChildren();
    $("asked-working").textContent = "";
    small("next", at.index + 1, null);
    small("wall", at.index, at.share);
    answered();
  }
  aside();
  document.documentElement.dataset.ready = "1";
}

function clock() {
  const minutes = Math.floor((Date.now() - at.began) / 60000), due = (told.minutes * at.index) / told.scenes.length;
  const off = Math.round(minutes - due);
  $("clock").textContent = `${say("minutes", { now: minutes, all: told.minutes })}   ${off > 1 ? say("behind", { count: off }) : off < -1 ? say("ahead", { count: -off }) : ""}`;
}

let later = 0;
channel.addEventListener("message", ({ data }) => {
  if (data.kind !== "at") return;
  const moved = data.share !== at.share;
  at = data;
  show();
  clearTimeout(later);
  if (moved) later = setTimeout(() => { small("wall", at.index, at.share); answered(); }, 300);
});
const keys = { ArrowRight: "next", PageDown: "next", ArrowLeft: "back", PageUp: "back", r: "reveal", b: "blank", p: "pointer", i: "ink" };
addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || !keys[event.key]) return;
  event.preventDefault();
  channel.postMessage({ kind: "do", what: keys[event.key] });
});
import { strip } from "./stage-class.js";
async function guesses() {
  let now = null;
  try { now = await (await fetch("/lessons/class")).json(); } catch { /* the program is gone: the clock goes on */ }
  $("class").hidden = !now?.on || !now.asked;
  if ($("class").hidden) return;
  const rows = [made("h2", say("guessed", { count: now.answers.length, all: now.guests }))];
  if (now.answers.length) rows.push(strip(now.answers, { amount: null, label: say("guessed", { count: now.answers.length, all: now.guests }) }, 420));
  $("class").replaceChildren(...rows);
}
setInterval(guesses, 1500);
setInterval(clock, 1000);
clock();
show();
channel.postMessage({ kind: "hello" });
