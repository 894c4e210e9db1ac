// The stage: scenes turned by a clicker's keys, one slider that drives the machine, reveal, ink and pointer.
// No number is worked out here; where scenes come from (the program, or the file itself) is the business of `source`.

const $ = (id) => document.getElementById(id);
const told = JSON.parse($("lesson").textContent);
const say = (name, slots = {}) => told.words[name].replace(/\{(\w+)\}/g, (_, key) => slots[key] ?? "");
const SVG = "http://www.w3.org/2000/svg";
const STEPS = 400;

// -- where scenes come from ----------------------------------------------------------------------------------------------

async function ask(path, body) {
  let reply;
  try {
    reply = await fetch(path, { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } });
  } catch { return { failed: say("gone") }; }
  const found = await reply.json().catch(() => ({}));
  if (reply.ok) return found;
  const words = (found.faults ?? []).map((fault) => `${fault.field}: ${fault.text}`).join(" ");
  return { failed: `${say("trouble")} ${words || reply.status}` };
}

const online = {
  scene: (index, share, hidden) => ask("/lessons/scene", { query: told.query, index, share, hidden, width: width() }),
  answer: (index, share) => ask("/lessons/told", { query: told.query, index, share, what: "answer" }),
  workings: (index, share) => ask("/lessons/told", { query: told.query, index, share, what: "workings" }),
};

/** Scenes that the file carries: those worked out at the places of its slider nearest to the one asked for. */
const carried = {
  frame(index, share) {
    const frames = told.frames[index];
    if (frames.length === 1) return frames[0];
    const at = share ?? frames.find((one) => one.own)?.share ?? 0;
    return frames.reduce((best, one) => (Math.abs(one.share - at) < Math.abs(best.share - at) ? one : best));
  },
  async scene(index, share, hidden) { const one = this.frame(index, share); return hidden && one.hidden ? { ...one.scene, ...one.hidden } : one.scene; },
  async answer(index, share) { return { answer: this.frame(index, share).answer }; },
  async workings(index, share) { return { workings: this.frame(index, share).workings }; },
};
const source = told.frames ? carried : online;

// -- state ---------------------------------------------------------------------------------------------------------------

const state = { index: 0, line: 0, share: null, revealed: false, scene: null, blank: false, ink: false, pointer: false };
const channel = !told.frames && "BroadcastChannel" in window ? new BroadcastChannel(`thinstock ${told.query}`) : null;
const began = Date.now();
const unit = () => Math.min(innerHeight / 768, innerWidth / 1024);
const width = () => Math.round(innerWidth / unit());

function tell() {
  channel?.postMessage({ kind: "at", index: state.index, line: state.line, lines: state.scene?.lines.length ?? 0, share: state.share,
    revealed: state.revealed, blank: state.blank, began, numbers: state.scene?.numbers ?? [] });
  history.replaceState(null, "", `#${state.index + 1}`);
}

// -- showing ---------------------------------------------------------------------------------------------------------------

const made = (name, text, kind) => { const e = document.createElement(name); if (text !== undefined) e.textContent = text; if (kind) e.className = kind; return e; };
const high = (element, units) => { element.style.height = `calc(${units} * var(--u))`; element.classList.toggle("empty", !units); };

function show(scene, { whole }) {
  const before = state.scene;
  state.scene = scene;
  const stage = $("stage"), shape = scene.layout;
  if (whole) {
    stage.classList.toggle("words", scene.show === "words");
    stage.classList.toggle("asking", scene.show === "question");
    $("title").textContent = scene.title;
    document.title = scene.title;
    high($("title"), shape.title);
    const asking = scene.show === "question";
    high($("question"), asking ? 0.45 * shape.drawing : shape.question);
    high($("choices"), asking ? (scene.choices.length ? 0.55 * shape.drawing - 8 : 0) : shape.choices);
    high($("figure"), asking || !scene.drawing ? 0 : shape.drawing);
    if (!asking && !scene.drawing) high($("lines"), shape.lines + shape.drawing); else high($("lines"), shape.lines);
    high($("numbers"), shape.numbers);
    high($("remarks"), shape.remarks);
    $("choices").replaceChildren(...scene.choices.map((one) => made("li", one)));
    $("remarks").replaceChildren(...scene.remarks.flatMap(([kind, words]) => [made("p", words, kind), " "]));
    $("foot-caption").textContent = scene.caption;
    $("where").textContent = say("of", { number: state.index + 1, count: told.scenes.length });
    $("ruler").replaceChildren(...told.scenes.map((_, i) => made("i", undefined, i === state.index ? "now" : i < state.index ? "past" : "")));
    slide(scene.slider, shape.slider);
    $("answer").textContent = "";
  } else if (scene.slider) value(scene.slider);
  $("question-text").textContent = scene.question;
  if (whole || !before || before.drawing !== scene.drawing) $("drawing").innerHTML = scene.drawing;
  $("numbers").replaceChildren(...scene.numbers.map(cell));
  $("lines").replaceChildren(...scene.lines.map((line, i) => made("p", line, i < state.line ? "said" : "")));
  document.documentElement.dataset.scene = `${state.index}`;
  document.documentElement.dataset.wide = `${Math.round(shape.width)}`;
}

function cell(number) {
  const box = made("div"), top = made("p", number.value, number.value.length > 11 ? "value long" : "value");
  if (number.unit) top.append(" ", made("small", number.unit));
  box.append(top, made("p", number.label), made("p", number.aside, "aside"));
  return box;
}

function slide(slider, units) {
  $("slider").hidden = !slider;
  high($("slider"), units);
  if (!slider) return;
  $("move-label").textContent = slider.label;
  $("move").value = Math.round(STEPS * slider.at);
  value(slider);
  requestAnimationFrame(() => scale(slider));
}

function value(slider) {
  $("move-value").replaceChildren(slider.value, " ", made("small", slider.unit));
  $("move").setAttribute("aria-valuetext", slider.said);
}

/** Ticks, grades and brackets of the slider; words of one row never meet: the one that would is left out. */
function scale(slider) {
  const svg = $("scale"), u = unit(), wide = svg.clientWidth / u, parts = [];
  svg.setAttribute("viewBox", `0 0 ${wide} 74`);
  const line = (d) => { const e = document.createElementNS(SVG, "path"); e.setAttribute("d", d); parts.push(e); };
  const taken = [[], []];
  const word = (x, y, text, row, size = 16) => {
    const e = document.createElementNS(SVG, "text"), half = 0.29 * size * text.length;
    const at = Math.min(Math.max(x, half), wide - half);
    if (taken[row].some(([a, b]) => at - half < b + 8 && at + half > a - 8)) return;
    taken[row].push([at - half, at + half]);
    e.setAttribute("x", at); e.setAttribute("y", y); e.setAttribute("font-size", size); e.setAttribute("text-anchor", "middle");
    e.textContent = text;
    parts.push(e);
  };
  line(`M0 40H${wide}`);
  for (const [share, text] of slider.brackets) { const x = share * wide; line(`M${x - 10} 33V25H${x + 10}V33`); word(x, 17, text, 0); }
  for (const [share, text] of slider.marks) { const x = share * wide; line(`M${x} 26V40`); word(x, 19, text, 0); }
  for (const [share, text] of slider.ticks) { const x = share * wide; line(`M${x} 40V48`); word(x, 67, text, 1); }
  svg.replaceChildren(...parts);
}

// -- going -----------------------------------------------------------------------------------------------------------------

const kept = new Map();
const key = (index, hidden) => `${index} ${hidden} ${width()}`;

function wanted(index, hidden) {
  const name = key(index, hidden);
  if (!kept.has(name)) kept.set(name, source.scene(index, null, hidden).then((scene) => { if (scene.failed) kept.delete(name); return scene; }));
  return kept.get(name);
}

let turning = 0;
async function go(index, { line = 0, revealed = false } = {}) {
  const count = told.scenes.length, to = Math.min(Math.max(index, 0), count - 1), mine = ++turning;
  Object.assign(state, { index: to, line, share: null, revealed });
  const scene = await wanted(to, !revealed);
  if (mine !== turning) return;
  wipe();
  close();
  if (!trouble(scene)) show(scene, { whole: true });
  if (line === Infinity) { state.line = scene.lines?.length ?? 0; said(); }
  if (revealed) await reveal(true);
  tell();
  document.documentElement.dataset.ready = "1";
  if (to + 1 < count) wanted(to + 1, true);
}

function trouble(found) {
  $("trouble").hidden = !found.failed;
  $("trouble").textContent = found.failed ?? "";
  if (found.failed) { state.scene = null; $("title").textContent = told.scenes[state.index].title; for (const id of ["drawing", "numbers", "lines", "remarks"]) $(id).replaceChildren(); }
  return Boolean(found.failed);
}

const said = () => [...$("lines").children].forEach((line, i) => line.classList.toggle("said", i < state.line));

function next() {
  const lines = state.scene?.lines.length ?? 0;
  if (state.line < lines) { state.line += 1; said(); tell(); } else if (state.index + 1 < told.scenes.length) go(state.index + 1);
}

function back() {
  if (state.line > 0) { state.line -= 1; said(); tell(); } else if (state.index > 0) go(state.index - 1, { line: Infinity });
}

async function reveal(again = false) {
  if (!state.scene?.asks || (state.revealed && !again)) return;
  state.revealed = true;
  const { index, share } = state, [found, scene] = await Promise.all([source.answer(index, share), share === null ? wanted(index, false) : source.scene(index, share, false)]);
  if (index !== state.index || found.failed) return;
  if (share !== state.share) { await reveal(true); return; }
  if (!again && !scene.failed) show(scene, { whole: false });
  answered(found.answer);
  tell();
  document.dispatchEvent(new CustomEvent("revealed", { detail: found.answer }));
}

function answered(answer) {
  if (answer.right) [...$("choices").children].forEach((one, i) => one.classList.toggle("right", i + 1 === answer.right));
  else $("answer").textContent = `${answer.text} ${answer.unit}`;
}

// -- the slider: one request in flight, the latest wins ------------------------------------------------------------------------

let busy = false, later = null;
async function move(share) {
  state.share = share;
  if (busy) { later = share; return; }
  busy = true;
  for (let at = share; at !== null; ) {
    later = null;
    const index = state.index, asks = Boolean(state.scene?.asks), open = state.revealed;
    const [scene, found] = await Promise.all([source.scene(index, at, asks && !open), asks && open ? source.answer(index, at) : null]);
    if (index === state.index && open !== state.revealed) { at = later ?? at; continue; }
    if (index === state.index && !trouble(scene)) show(scene, { whole: false });
    if (index === state.index && found?.answer) answered(found.answer);
    at = index === state.index ? later : null;
  }
  busy = false;
  document.documentElement.dataset.moved = `${state.share}`;
  tell();
}
$("move").addEventListener("input", () => move($("move").value / STEPS));

function nudge(steps) {
  if ($("slider").hidden) return;
  if (steps > 0) $("move").stepUp(steps); else $("move").stepDown(-steps);
  move($("move").value / STEPS);
}

// -- panels ----------------------------------------------------------------------------------------------------------------------

const panels = ["working", "help"];
function close() {
  const open = panels.filter((id) => !$(id).hidden);
  open.forEach((id) => { $(id).hidden = true; });
  if (open.length) $("stage").focus();
  return open.length > 0;
}

async function workings() {
  if (!$("working").hidden) { close(); return; }
  const { index, share } = state, found = await source.workings(index, share);
  if (index !== state.index || share !== state.share) return;
  const rows = (found.workings ?? []).filter(([title]) => state.revealed || !hides(title));
  const taking = told.frames ? [] : [made("p", say("take"))];
  for (const kind of taking.length ? ["svg", "png", "csv"] : []) {
    const link = made("a", kind.toUpperCase());
    link.href = `/lessons/take/scene.${kind}?${told.query}&scene=${state.index + 1}${state.share === null ? "" : `&share=${state.share}`}`;
    link.download = "";
    taking[0].append(link, " ");
  }
  const label = ([title]) => title.split(":")[0];
  const paired = rows.map((row, at) => label(row) === label(rows[at + 1] ?? [""]) || label(row) === label(rows[at - 1] ?? [""]));
  const all = rows.map(([title, lines], at) => {
    const one = made("div", undefined, paired[at] ? "" : "alone");
    one.append(made("h3", title), ...lines.map((line) => made("p", line)));
    return one;
  });
  $("workings").className = paired.includes(true) ? "both" : "";
  $("workings").replaceChildren(...taking, ...all);
  $("working").hidden = false;
  $("working").focus();
}
/** A working that would give the answer away waits for the reveal. */
const hides = (title) => (state.scene?.numbers ?? []).some((number) => number.value === "?" && title.startsWith(`${number.label}:`));

function help() {
  if (!$("help").hidden) { close(); return; }
  const rows = Object.keys(told.words).filter((name) => name.startsWith("key_")).map((name) => told.words[name].split("|"));
  $("keys").replaceChildren(...rows.flatMap(([keys, words]) => [made("dt", keys), made("dd", words)]));
  $("help").hidden = false;
  $("help").focus();
}

// -- ink and pointer -----------------------------------------------------------------------------------------------------------

const ink = $("ink");
let drawing = null;
function wipe() { ink.width = innerWidth; ink.height = innerHeight; }
function toggleInk() {
  state.ink = !state.ink;
  if (ink.hidden) { ink.hidden = false; wipe(); }
  ink.classList.toggle("still", !state.ink);
}
ink.addEventListener("pointerdown", (event) => { drawing = [event.clientX, event.clientY]; ink.setPointerCapture(event.pointerId); });
ink.addEventListener("pointermove", (event) => {
  if (!drawing) return;
  const pen = ink.getContext("2d");
  pen.strokeStyle = getComputedStyle(document.documentElement).getPropertyValue("--fault");
  pen.lineWidth = 5 * unit();
  pen.lineCap = "round";
  pen.beginPath(); pen.moveTo(...drawing); drawing = [event.clientX, event.clientY]; pen.lineTo(...drawing); pen.stroke();
});
ink.addEventListener("pointerup", () => { drawing = null; });
addEventListener("pointermove", (event) => { if (state.pointer) Object.assign($("pointer").style, { left: `${event.clientX}px`, top: `${event.clientY}px` }); });
function togglePointer() {
  state.pointer = !state.pointer;
  $("pointer").hidden = !state.pointer;
  document.body.classList.toggle("pointing", state.pointer);
  Object.assign($("pointer").style, { left: "50%", top: "40%" });
}

// -- keys ------------------------------------------------------------------------------------------------------------------------

function blank() { state.blank = !state.blank; $("blank").hidden = !state.blank; tell(); }
function full() { if (document.fullscreenElement) document.exitFullscreen(); else document.documentElement.requestFullscreen?.().catch(() => {}); }
function dark() {
  const root = document.documentElement, now = root.dataset.paper === "dark" || (root.dataset.paper !== "light" && matchMedia("(prefers-color-scheme: dark)").matches);
  root.dataset.paper = now ? "light" : "dark";
}
function leave() { if (close()) return; if (state.blank) blank(); else if (!told.frames && !document.fullscreenElement) location.assign("/lessons"); }

let digits = "", typed = 0;
function digit(text) {
  digits += text;
  clearTimeout(typed);
  const jump = () => { const to = parseInt(digits, 10); digits = ""; if (to > 0) go(to - 1); };
  if (digits.length > 1 || parseInt(digits, 10) * 10 > told.scenes.length) jump(); else typed = setTimeout(jump, 700);
}

const doing = {
  ArrowRight: next, PageDown: next, " ": next, ArrowLeft: back, PageUp: back, Home: () => go(0), End: () => go(told.scenes.length - 1),
  Escape: leave, f: full, b: blank, ".": blank, r: () => reveal(), w: workings, d: dark, p: togglePointer, i: toggleInk, h: help, "?": help,
  g: () => document.dispatchEvent(new Event("guesses")),
  n: () => { if (!told.frames) open(`/lessons/stage?${told.query}&notes`, "thinstock-notes", "noopener"); },
};
addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const far = event.shiftKey ? 40 : 4;
  if (event.key === "ArrowUp" || event.key === "ArrowDown") { event.preventDefault(); nudge(event.key === "ArrowUp" ? far : -far); return; }
  if (/^[0-9]$/.test(event.key)) { digit(event.key); return; }
  const act = doing[event.key] ?? doing[event.key.toLowerCase()];
  if (!act) return;
  event.preventDefault();
  act();
});
channel?.addEventListener("message", ({ data }) => {
  if (data.kind === "hello") tell();
  if (data.kind === "do") ({ next, back, reveal: () => reveal(), blank, pointer: togglePointer, ink: toggleInk })[data.what]?.();
});

let resizing = 0;
addEventListener("resize", () => { clearTimeout(resizing); resizing = setTimeout(() => { kept.clear(); go(state.index, { line: state.line, revealed: state.revealed }); }, 150); });
const first = parseInt(location.hash.slice(1), 10) || 1;
go(first - 1);
if (!told.frames) import("./stage-class.js").then((made) => made.begin({ told, say, state }));
