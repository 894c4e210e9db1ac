// The sheet page: theory follows every change, the sheets themselves are laid beside it with progress and a stop.

import { Address, Loop, goOn, notice, pageLinks, put, say, send, showAddress, undoing, unitLinks } from "./page.js";
import { draw, fill } from "./charts.js";

const by = (id) => document.getElementById(id);
const form = by("form");
const reading = by("numbers");
const frames = [...document.querySelectorAll("[data-sheet]")];

let here = new Address(location.search);
let job = "";
let shown = "";
const NEVER = 999999999;

/** Lights in which the sheets are shown as an eye sees them: they are made by a job of their own, when asked for. */
const EYES = ["window", "lamp"];
const light = () => document.querySelector("[name=light]:checked").value;
let eyeJob = "";
let eyeOf = "";

// -- theory -----------------------------------------------------------------------------------------------------------

function heads(rows) {
  frames.forEach((frame, number) => {
    frame.hidden = number >= rows.length;
    if (frame.hidden) return;
    frame.querySelector("[data-head]").textContent = rows[number].consistency;
    frame.querySelector("[data-regime]").textContent = rows[number].regime;
    frame.querySelector("img").alt = rows[number].alt;
    const seen = frame.querySelector("[data-seen]");
    seen.hidden = !EYES.includes(light());
    seen.textContent = rows[number][light()] ?? "";
    Object.assign(seen.dataset, { window: rows[number].window, lamp: rows[number].lamp });
  });
  by("sheets").dataset.count = rows.length;
}

/** What follows from the grade stands in its boxes, unless somebody is writing there. */
function refill(told) {
  form.querySelectorAll("[data-c]").forEach((box, number) => {
    if (box !== document.activeElement) box.value = told.texts[number] ?? "";
  });
  if (by("w") === document.activeElement) return;
  by("w").value = told.grammage;
  form.querySelector("[data-slides=w]").value = told.grammage;
}

function standing(state) { reading.dataset.state = state; }

async function ask(query, signal, more = {}) {
  const { ok, status, told } = await send("/sheet/answer", { query, job, eyes: eyeOf === query ? eyeJob : "", ...more }, signal);
  for (const place of form.querySelectorAll("[data-fault]")) { place.hidden = true; place.closest(".row").classList.remove("wrong"); }
  if (ok) {
    for (const [name, html] of Object.entries(told.pieces)) put(`p-${name}`, html);
    heads(told.heads);
    fill(told.charts);
    refill(told);
    if (told.pictures) hang(told.pictures, more);
    standing("fresh");
    notice("", "", []);
    return true;
  }
  standing(status === 500 ? "failed" : "before");
  if (status === 422) {
    const lines = told.faults.map((fault) => {
      const row = form.querySelector(`[data-own="${CSS.escape(fault.field)}"]`);
      const place = row?.querySelector("[data-fault]");
      if (place) { place.textContent = fault.text; place.hidden = false; row.classList.add("wrong"); }
      return place ? fault.text : `${fault.field}: ${fault.text}`;
    });
    notice("refused", say("state.refused_title"), [...lines, say("state.before")]);
  } else if (status === 500) notice("failed", say("state.fault_title"), [say("state.fault")]);
  else {
    notice("away", say(status === 403 ? "state.closed_title" : "state.away_title"), [say(status === 403 ? "state.closed" : "state.away")]);
    setTimeout(() => loop.ask(here.query), 1500);
  }
  return false;
}

const loop = new Loop({ quick: (query) => ask(query), slow: async (query) => { lay(query); }, pause: 350 });

const undo = undoing(`thinstock-sheet ${here.own("file") || here.own("machine")}`, () => here.query, (query) => goOn(`${location.pathname}?${query}`));
let grasped = null;

function go(next, grip = null) {
  if (!grip || grip !== grasped) undo.step(here.query);
  grasped = grip;
  here = next;
  showAddress(here.query);
  if (reading.dataset.state === "fresh") standing("asking");
  by("sheets").classList.add("old");
  unitLinks(here);
  loop.ask(here.query);
}

// -- the sheets ---------------------------------------------------------------------------------------------------------

async function lay(query) {
  const before = job;
  if (EYES.includes(light())) look(query);
  const { ok, told } = await send("/sheet/start", { query, before });
  if (!ok) return;
  job = told.job;
  busy(true);
  follow(told.job, query);
}

/** Look at the sheets as an eye does. */
async function look(query) {
  eyeOf = query;
  by("sheets").classList.add("old");
  const { ok, told } = await send("/sheet/start", { query, before: eyeJob, eye: true });
  if (!ok || eyeOf !== query) return;
  eyeJob = told.job;
  busy(true);
  follow(told.job, query, true);
}

function busy(now, again = false) {
  by("laying").hidden = !now;
  by("lay").hidden = !again;
  if (!now) return;
  by("progress").removeAttribute("value");
}

async function follow(mine, query, eye = false) {
  let parts = 0;
  const current = () => (eye ? eyeJob : job);
  while (mine === current()) {
    const { ok, status, told } = await send(`/jobs/${mine}?seen=${NEVER}&wait=1.2`); // as it ends, or how far it is by then
    if (mine !== current()) return;
    if (!ok) {
      busy(false, true);
      if (status === 404) notice("lost", say("sheet.lost"), [], true);
      return;
    }
    if (told.share > 0) by("progress").value = told.share;
    if (told.parts > parts) {
      parts = told.parts;
      if (query === here.query) await pictures(mine, parts, eye);
    }
    if (["done", "refused", "failed", "stopped"].includes(told.state)) {
      busy(false, told.state !== "done");
      if (told.state === "refused") notice("refused", say("state.refused_title"), told.faults.map((fault) => fault.text));
      if (told.state === "failed") notice("failed", say("sheet.failed"), []);
      if (told.state === "done") by("spoken").textContent = document.querySelector("#p-table caption")?.textContent ?? "";
      return;
    }
  }
}

/** The pictures that are new, all in one answer with what was counted on them. */
async function pictures(mine, parts, eye = false) {
  shown = mine;
  const now = light();
  const have = frames.map((_, number) => String(number)).filter((number) => {
    const { dataset } = by(`sheet-${number}`);
    return dataset.job === mine && dataset.light === now;
  });
  if (by("detail").dataset.job) have.push(...(eye || by("detail").dataset.job === mine ? ["detail"] : []));
  await ask(here.query, undefined, { light: now, have, mine, eye });
  const all = parts > frames.filter((frame) => !frame.hidden).length - (eye ? 1 : 0);
  if (all && EYES.includes(now) === eye) by("sheets").classList.remove("old");
}

function hang(found, { light, mine, eye }) {
  if (mine !== (eye ? eyeJob : job)) return;
  for (const [name, text] of Object.entries(found)) {
    const img = by(name === "detail" ? name : `sheet-${name}`);
    if (!img) continue;
    if (img.src.startsWith("blob:")) URL.revokeObjectURL(img.src);
    img.src = URL.createObjectURL(new Blob([Uint8Array.from(atob(text), (c) => c.charCodeAt(0))], { type: "image/png" }));
    img.hidden = false;
    Object.assign(img.dataset, { job: mine, light });
  }
}

/** Another light: what stands of it already is shown, what an eye sees is looked for. */
async function lit() {
  const eye = EYES.includes(light());
  by("eye-note").hidden = !eye;
  for (const frame of frames) {
    const seen = frame.querySelector("[data-seen]");
    seen.hidden = !eye;
    if (eye) seen.textContent = seen.dataset[light()] ?? "";
  }
  if (eye && (eyeOf !== here.query || !eyeJob)) look(here.query);
  else if (eye ? eyeJob : job) await pictures(eye ? eyeJob : job, NEVER, eye);
}
for (const radio of document.querySelectorAll("[name=light]")) radio.addEventListener("change", lit);

by("stop").addEventListener("click", async () => {
  const running = [job, eyeJob].filter(Boolean);
  job = "";
  eyeJob = "";
  eyeOf = "";
  busy(false, true);
  for (const mine of running) await send(`/jobs/${mine}/stop`, {});
  notice("stopped", say("sheet.stopped"), [], true);
});
by("lay").addEventListener("click", () => { notice("", "", []); lay(here.query); });

// -- the form -------------------------------------------------------------------------------------------------------------

const texts = () => [...form.querySelectorAll("[data-c]")].map((box) => box.value.trim()).filter((text) => text !== "");

/** A grade brings its own grammage and consistencies. */
const ofGrade = (value) => here.without("w", "c").other("grade", value);

form.addEventListener("input", (event) => {
  const name = event.target.dataset.slides;
  if (!name) return;
  by(name).value = event.target.value;
  go(name === "grade" ? ofGrade(event.target.value) : here.other(name, event.target.value), event.target);
});
form.addEventListener("change", (event) => {
  const box = event.target;
  if (box.dataset.c !== undefined) go(here.all("c", texts()));
  else if (box.dataset.named) {
    const slider = form.querySelector(`[data-slides="${box.dataset.named}"]`);
    if (slider) slider.value = box.value;
    const next = box.dataset.named === "grade" ? ofGrade(box.value) : here.other(box.dataset.named, box.value.trim());
    if (box.dataset.named === "target") {
      form.querySelector("label[for=aim]").textContent = box.selectedOptions[0].textContent;
      by("aim").value = "";
      go(next.without("aim"));
    } else go(next);
  }
});
form.addEventListener("submit", (event) => event.preventDefault());
by("seed").addEventListener("click", (event) => {
  const next = String(Math.floor(Math.random() * 999999));
  event.target.dataset.seed = next;
  go(here.other("seed", next));
});

heads(JSON.parse(by("heads").textContent));
pageLinks(here.without("c", "w", "v", "orientation", "zone", "size", "seed", "target", "aim", "grade", "spots", "spot", "left").query);
undo.shown();
draw();
lay(here.query);
document.documentElement.dataset.ready = "1";
