// The machine page: a value changes, the machine answers. Every value is a text; the server reads it and works.

import { Address, Loop, undoing, notice, pageLinks, put, say, send, showAddress, unitLinks } from "./page.js";
import { draw, fill, left, owes } from "./charts.js";
import { leftOut, shown, sight, take, watch } from "./sight.js";
import { files } from "./files.js";

const form = document.getElementById("form");
const reading = document.getElementById("numbers");
const spread = document.querySelector(".spread");
const bar = document.querySelector(".filebar");
const spoken = document.getElementById("spoken");
const SLOW = ["p-fact-first", "p-limits", "p-certainty", "p-streams", "p-sources", "p-drawing-words"];

for (const id of SLOW) document.getElementById(id).dataset.follows = say("state.follows");

const narrow = matchMedia("(max-width: 40rem)");

let here = new Address(location.search);
let grasped = null;

// -- what comes back ------------------------------------------------------------------------------------------------------

/** So long an answer may take before what stands goes pale, ms: most come sooner, and nothing is painted twice. */
const PATIENCE = 350;
let pale = null;
const standings = [reading, document.getElementById("p-notes").parentElement];

function standing(state) {
  clearTimeout(pale);
  late(state === "asking" ? "no" : "");
  if (state === "asking") pale = setTimeout(() => late("yes"), PATIENCE);
  for (const place of standings) place.dataset.state = state;
}

function late(how) {
  for (const place of standings) if (how) place.dataset.late = how; else delete place.dataset.late;
}

function show(told, query) {
  if (!take(told)) { loop.ask(here.query); return; }
  if (!told.full) { leftOut(told.marks); left(told.charts); }
  fill(told.charts, told.full);
  if (told.form) {
    const open = [...form.querySelectorAll("details[open] > summary")].map((summary) => summary.textContent);
    form.innerHTML = told.form;
    for (const summary of form.querySelectorAll("summary")) if (open.includes(summary.textContent)) summary.parentElement.open = true;
    spread.dataset.structure = told.structure;
  }
  for (const id of SLOW) document.getElementById(id).classList.toggle("follows", !told.full);
  costs(told.full);
  rows(told);
  document.getElementById("machine-title").textContent = told.title;
  follow();
  standing("fresh");
  if (document.getElementById("notice").dataset.kind !== "file") notice("", "", []);
  if (bar.dataset.file && told.known !== bar.dataset.known) changedOnDisk(told.known);
  if (query === here.query || new Address(told.query).query === here.query) fixed(told.query);
  if (told.full) {
    const fact = (name) => document.getElementById(`p-fact-${name}`).textContent.replace(/\s+/g, " ").trim();
    spoken.textContent = ["production", "first", "moisture"].map(fact).join("; ");
  }
}

// -- what is asked for when it is opened -------------------------------------------------------------------------------------

const asking = new Map();

/** After a change: what stands is of before; what is open is asked for anew when the person stops. */
function costs(full) {
  for (const part of document.querySelectorAll("[data-costs]")) {
    delete part.dataset.fresh;
    asking.get(part.dataset.costs)?.abort();
    document.getElementById(`p-${part.dataset.costs}`).classList.toggle("follows", part.open);
    if (full) cost(part);
  }
}

async function cost(part) {
  if (!part.open || part.dataset.fresh) return;
  const name = part.dataset.costs;
  const place = document.getElementById(`p-${name}`);
  place.classList.add("follows");
  asking.get(name)?.abort();
  const stop = new AbortController();
  asking.set(name, stop);
  try {
    const { ok, status, told } = await send("/machine/costs", { query: here.query, part: name }, stop.signal);
    if (!ok) { if (status !== 422) trouble(status); return; }
    put(`p-${name}`, told.pieces[name]);
    part.dataset.fresh = "1";
    place.classList.remove("follows");
  } catch (error) { if (error.name !== "AbortError") throw error; }
}

for (const part of document.querySelectorAll("[data-costs]")) part.addEventListener("toggle", () => cost(part));

/** A question that the address names ("#vacuum") is opened. */
function asked() {
  const part = document.querySelector(`[data-costs="${CSS.escape(location.hash.slice(1))}"]`);
  if (part) { part.open = true; part.scrollIntoView(); }
}
window.addEventListener("hashchange", asked);
asked();

/** On a narrow page three of the numbers stay in sight while the form is. */
const strip = document.getElementById("follow");
function follow() {
  strip.replaceChildren(...["production", "first", "moisture"].map((name) => {
    const one = document.createElement("span");
    const bold = document.createElement("b");
    bold.textContent = document.querySelector(`#p-fact-${name} .main`).textContent.replace(/\s+/g, " ");
    one.append(`${document.querySelector(`#p-fact-${name} dt`).firstChild.textContent} `, bold);
    return one;
  }));
}
new IntersectionObserver(([seen]) => { strip.hidden = !seen.isIntersecting; }).observe(form);

/** The fixed form of the address: units written out, so that it means the same whoever opens it. */
function fixed(query) {
  here = new Address(query);
  undo.stand(query);
  showAddress(query);
  pageLinks(query);
  kept.downloads(query);
  unitLinks(here);
  buttons();
}

function rows(told) {
  const known = new Map(told.rows.map((row) => [row.address, row]));
  for (const row of form.querySelectorAll("[data-address]")) {
    const now = known.get(row.dataset.address);
    mark(row, now ? now.changed : false);
    fault(row, "");
    const box = row.querySelector("[data-value]");
    const text = now ? now.text : row.dataset.base;
    if (document.activeElement !== box && box.value !== text) box.value = text;
    const slider = row.querySelector("[data-slider]");
    if (slider && slider !== grasped && slider.value !== text) slider.value = text;
    const found = row.querySelector("[data-found]");
    const said = told.found[row.dataset.address] ?? "";
    if (found && found.textContent !== said) found.textContent = said;
  }
}

function mark(row, changed) {
  row.classList.toggle("changed", changed);
  const back = row.querySelector("[data-back]");
  if (back && back.hidden === changed) back.hidden = !changed;
}

function fault(row, text) {
  if (!text && !row.classList.contains("wrong")) return;
  row.classList.toggle("wrong", text !== "");
  const place = row.querySelector("[data-fault]");
  const box = row.querySelector("[data-value]");
  if (!place) return;
  place.textContent = text;
  place.hidden = text === "";
  if (text) box.setAttribute("aria-invalid", "true"); else box.removeAttribute("aria-invalid");
}

function refused(faults, query) {
  standing("before");
  for (const row of form.querySelectorAll(".wrong")) fault(row, "");
  const far = [];
  for (const one of faults) {
    const row = form.querySelector(`[data-address="${CSS.escape(one.field)}"]`);
    if (row) {
      fault(row, one.text);
      mark(row, new Address(query).changes.has(one.field));
      row.closest("details:not([open])")?.setAttribute("open", "");
    }
    far.push(row ? one.text : `${one.field}: ${one.text}`);
  }
  notice("refused", say("state.refused_title"), [...far, say("state.before")]);
}

// -- what goes out ----------------------------------------------------------------------------------------------------------

let again = null;

function trouble(status) {
  if (status === 500) {
    standing("failed");
    notice("failed", say("state.fault_title"), [say("state.fault")]);
    return;
  }
  standing("before");
  const closed = status === 403;
  notice("away", say(closed ? "state.closed_title" : "state.away_title"), [say(closed ? "state.closed" : "state.away")]);
  clearTimeout(again);
  again = setTimeout(() => loop.ask(here.query), 1500);
}

const tab = Math.random().toString(36).slice(2);
let turns = 0;
/** Which tab asks, and how often it has: the server drops what a later question has made useless. */
const turn = () => ({ tab, turn: ++turns });

/** The question whose drawing stands: the full answer to it need not bring it again. */
let drawn = null;

async function ask(query, part, signal) {
  const { ok, status, told } = await send("/machine/answer", {
    query, part, structure: spread.dataset.structure, narrow: narrow.matches, shown: shown(), sight: sight(),
    drawn: drawn === query + narrow.matches, ...turn(),
  }, signal);
  clearTimeout(again);
  if (ok) {
    if (told.marks.drawing) drawn = query + narrow.matches;
    show(told, query);
    return true;
  }
  if (status === 409) return false;
  if (status === 422) refused(told.faults ?? [], query);
  else trouble(status);
  return false;
}

/** The limits stand as soon as may be; what takes longer follows them. */
async function limits(query, signal) {
  const { ok, told } = await send("/machine/answer", { query, part: "limits", shown: shown(), ...turn() }, signal);
  if (!ok || query !== here.query && new Address(told.query).query !== here.query) return;
  take(told);
  for (const name of Object.keys(told.marks)) document.getElementById(`p-${name}`).classList.remove("follows");
}

const loop = new Loop({
  quick: (query) => ask(query, "quick"),
  slow: async (query, signal) => { await limits(query, signal); return ask(query, "full", signal); },
  pause: 10,
});

function go(next) {
  here = next;
  if (reading.dataset.state === "fresh") standing("asking");
  showAddress(here.query);
  buttons();
  loop.ask(here.query);
}

// -- undo ---------------------------------------------------------------------------------------------------------------------

const undo = undoing(`thinstock-undo ${here.own("file") || here.own("machine")}`, () => here.query, (query) => go(new Address(query)), () => {
  const count = here.changes.size + ["former", "press"].filter((name) => here.own(name)).length;
  document.getElementById("reset").disabled = count === 0;
  document.getElementById("unsaved").textContent = count === 0 ? "" : count === 1 ? say("file.one_unsaved") : say("file.unsaved", { count });
});
const buttons = () => undo.shown();

document.getElementById("reset").addEventListener("click", () => {
  undo.step(here.query);
  go(here.without("set", "former", "press"));
});

// -- the form -----------------------------------------------------------------------------------------------------------------

const rowOf = (element) => element.closest("[data-address]");

function changeTo(row, text) {
  const where = row.dataset.address;
  go(text === row.dataset.base ? here.unset(where) : here.set(where, text === "" ? "not given" : text));
}

form.addEventListener("input", (event) => {
  const element = event.target;
  if (element.matches("[data-slider]")) {
    if (grasped !== element) {
      grasped = element;
      undo.step(here.query);
    }
    const row = rowOf(element);
    row.querySelector("[data-value]").value = element.value;
    changeTo(row, element.value);
  } else if (element.matches("input[data-value]")) {
    element.dataset.typing = "1";
  }
});

form.addEventListener("change", (event) => {
  const element = event.target;
  if (element.matches("[data-slider]")) { grasped = null; return; }
  const exchange = element.closest("[data-exchange]");
  if (exchange) {
    undo.step(here.query);
    go(here.other(exchange.dataset.exchange, element.value));
    return;
  }
  if (!element.matches("[data-value]")) return;
  delete element.dataset.typing;
  undo.step(here.query);
  changeTo(rowOf(element), element.value.trim());
});

form.addEventListener("click", (event) => {
  if (!event.target.matches("[data-back]")) return;
  const row = rowOf(event.target);
  undo.step(here.query);
  go(here.unset(row.dataset.address));
  row.querySelector("[data-value]").focus();
});

form.addEventListener("submit", (event) => event.preventDefault());

// -- files ----------------------------------------------------------------------------------------------------------------------

const kept = files(() => here);

function changedOnDisk(known) {
  const place = notice("file", say("file.changed_on_disk", { name: bar.dataset.file }), [], true);
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: say("file.looked") });
  button.addEventListener("click", () => { bar.dataset.known = known; notice("", "", []); });
  place.append(button);
}

// -- the drawing: a part tells its name and numbers where it is pointed at, and takes one stop of the tab key in all ------------

const picture = document.getElementById("p-drawing");
const tip = Object.assign(document.createElement("div"), { className: "tip", hidden: true });
tip.setAttribute("aria-hidden", "true");
document.body.append(tip);

function tell(part, x, y) {
  const [name, ...rest] = part.getAttribute("aria-label").split(": ");
  tip.replaceChildren(Object.assign(document.createElement("b"), { textContent: name }), rest.length ? `: ${rest.join(": ")}` : "");
  tip.hidden = false;
  const box = tip.getBoundingClientRect();
  tip.style.left = `${Math.max(4, Math.min(x + 14, innerWidth - box.width - 8))}px`;
  tip.style.top = `${y + 18 + box.height > innerHeight ? Math.max(4, y - box.height - 12) : y + 18}px`;
}
const partAt = (event) => event.target.closest?.("g[role=img][aria-label]");
picture.addEventListener("pointermove", (event) => { const part = partAt(event); if (part) tell(part, event.clientX, event.clientY); else tip.hidden = true; });
picture.addEventListener("pointerleave", () => { tip.hidden = true; });
picture.addEventListener("focusin", (event) => {
  const part = partAt(event);
  if (!part) return;
  const box = part.getBoundingClientRect();
  tell(part, Math.min(box.right, innerWidth) - 20, Math.min(box.bottom, innerHeight) - 30);
});
picture.addEventListener("focusout", () => { tip.hidden = true; });
picture.addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  const all = [...picture.querySelectorAll("g[role=img][tabindex]")];
  const at = all.indexOf(document.activeElement);
  if (event.key === "Escape") tip.hidden = true;
  if (!step || at < 0) return;
  event.preventDefault();
  const next = all[(at + step + all.length) % all.length];
  all.forEach((one) => one.setAttribute("tabindex", one === next ? "0" : "-1"));
  next.focus();
});
function oneStop() {
  const all = [...picture.querySelectorAll("g[role=img][tabindex]")];
  all.forEach((one, i) => one.setAttribute("tabindex", i ? "-1" : "0"));
}
new MutationObserver(oneStop).observe(picture, { childList: true });
oneStop();

const facts = document.getElementById("facts");
document.getElementById("all-facts").addEventListener("click", ({ target }) => {
  const all = facts.classList.toggle("all");
  target.setAttribute("aria-expanded", all);
  target.textContent = say(all ? "machine.fewer_facts" : "machine.all_facts");
});

narrow.addEventListener("change", () => go(here));
pageLinks(here.query);
buttons();
follow();
addEventListener("alive", () => loop.ask(here.query));
undo.arrive(here.query);
buttons();
draw();
watch({ waits: owes }, () => { if (loop.idle) loop.ask(here.query); });
if (narrow.matches) go(here);
document.documentElement.dataset.ready = "1";
