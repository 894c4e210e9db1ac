// The sheet page: theory follows every change, the sheets themselves are laid beside it with progress and a stop.

import { Address, Loop, goOn, notice, pageLinks, put, say, send, showAddress, undoing, unitLinks } from "./page.js";
import { draw, fill } from "./charts.js";

const by = (id) => document.getElementById(id);
const form = by("form");
const reading = by("numbers");
const frames = [...document.querySelectorAll("[data-sheet]")];

let here = new Address(location.search);
let job = "";
/** Lights in which the sheets are shown as an eye sees them: the job looks only when one of them is on. */
const EYES = ["window", "lamp"];
let looks = false;
const lit = () => document.querySelector("[name=light]:checked").value;
const OVER = ["done", "refused", "failed", "stopped", "unknown"];

// -- theory -----------------------------------------------------------------------------------------------------------

function heads(rows) {
  frames.forEach((frame, number) => {
    frame.hidden = number >= rows.length;
    if (frame.hidden) return;
    frame.querySelector("[data-head]").textContent = rows[number].consistency;
    frame.querySelector("[data-regime]").textContent = rows[number].regime;
    frame.querySelector("img").alt = rows[number].alt;
    Object.assign(frame.querySelector("[data-seen]").dataset, { window: rows[number].window, lamp: rows[number].lamp });
  });
  by("sheets").dataset.count = rows.length;
  seen();
}

/** Below each sheet the holes seen in the light that is on. */
function seen() {
  const eye = EYES.includes(lit());
  by("eye-note").hidden = !eye;
  for (const frame of frames) {
    const line = frame.querySelector("[data-seen]");
    line.hidden = !eye;
    line.textContent = line.dataset[lit()] ?? "";
  }
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

/** Theory for an address, and what its job has made so far; gives how far that is, or null where nothing could be told. */
async function ask(query, signal, more = {}) {
  const { ok, status, told } = await send("/sheet/answer", { query, job: more.mine ?? job, ...more }, signal);
  if (ok && more.start) job = told.job;
  if (ok && more.mine !== undefined && (query !== here.query || told.job !== job)) return told; // something newer stands
  for (const place of form.querySelectorAll("[data-fault]")) { place.hidden = true; place.closest(".row").classList.remove("wrong"); }
  if (ok) {
    for (const [name, html] of Object.entries(told.pieces)) put(`p-${name}`, html);
    heads(told.heads);
    fill(told.charts);
    refill(told);
    if (told.pictures) hang(told.pictures, { light: more.light, mine: told.job });
    standing("fresh");
    if (!more.mine) notice("", "", []);
    return told;
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
  return null;
}

const loop = new Loop({ quick: async (query) => (await ask(query)) !== null, slow: async (query) => { lay(query); }, pause: 350 });

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
  along();
  loop.ask(here.query);
}

// -- the sheets ---------------------------------------------------------------------------------------------------------

/** The sheets of an address: started, then asked for with all that is new of them, each time waiting longer. */
async function lay(query) {
  busy(true);
  const began = performance.now();
  let wait = 0.6;
  looks = EYES.includes(lit());
  let told = await ask(query, undefined, { ...lights(), start: true, eye: looks, mine: job, wait: 0.3 });
  const mine = told?.job;
  while (told && mine === job && query === here.query) {
    if (told.how.share > 0) {
      by("progress").value = told.how.share;
      const gone = (performance.now() - began) / 1000;
      by("said").textContent = say("sheet.how_far", { share: Math.round(100 * told.how.share), left: Math.max(1, Math.round(gone * (1 / told.how.share - 1))) });
    }
    const count = frames.filter((frame) => !frame.hidden).length;
    if (told.how.parts > (EYES.includes(lit()) ? 2 * count : count)) by("sheets").classList.remove("old");
    if (OVER.includes(told.how.state)) return ended(told.how);
    wait = Math.min(2 * wait, 4.8);
    told = await ask(query, undefined, { ...lights(mine), mine, wait });
  }
  if (!told && mine === job) busy(false, true);
}

/** Sheets that stand in another light than the one that is on are asked for in it. */
function relit() {
  if (EYES.includes(lit())) return;
  frames.forEach((frame, number) => {
    const img = by(`sheet-${number}`);
    if (frame.hidden || img.dataset.job === job && img.dataset.light === lit()) return;
    Object.assign(img.dataset, { job, light: lit() });
    img.src = `/sheet/picture/${job}/${number}/${lit()}.png`;
    img.hidden = false;
  });
  along();
}

function ended({ state, faults }) {
  busy(false, state !== "done");
  if (state === "done") relit();
  if (state === "unknown") notice("lost", say("sheet.lost"), [], true);
  if (state === "refused") notice("refused", say("state.refused_title"), faults.map((fault) => fault.text));
  if (state === "failed") notice("failed", say("sheet.failed"), []);
  if (state === "done") by("spoken").textContent = document.querySelector("#p-table caption")?.textContent ?? "";
}

function busy(now, again = false) {
  by("laying").hidden = !now;
  by("lay").hidden = !again;
  by("said").textContent = "";
  if (!now) return;
  by("progress").removeAttribute("value");
}

/** The light that is on, and which pictures of a job stand in it. */
function lights(mine) {
  const light = lit();
  const have = frames.map((_, number) => String(number)).filter((number) => {
    const { dataset } = by(`sheet-${number}`);
    return mine && dataset.job === mine && dataset.light === light;
  });
  if (mine && by("detail").dataset.job === mine) have.push("detail");
  return { light, have };
}

function hang(found, { light, mine }) {
  if (mine !== job) return;
  for (const [name, text] of Object.entries(found)) {
    const img = by(name === "detail" ? name : `sheet-${name}`);
    if (!img) continue;
    if (img.src.startsWith("blob:")) URL.revokeObjectURL(img.src);
    img.src = URL.createObjectURL(new Blob([Uint8Array.from(atob(text), (c) => c.charCodeAt(0))], { type: "image/png" }));
    img.hidden = false;
    Object.assign(img.dataset, { job: mine, light });
  }
  along();
}

/** Charts and pictures as files follow the address, the job and the light. */
function along() {
  for (const link of document.querySelectorAll("[href^='/sheet/file/']")) link.search = job ? here.other("job", job).query : here.query;
  for (const link of document.querySelectorAll("[data-picture]")) {
    const img = by(link.dataset.picture === "detail" ? "detail" : `sheet-${link.dataset.picture}`);
    link.hidden = !img.dataset.job;
    link.href = `/sheet/picture/${img.dataset.job}/${link.dataset.picture}/${img.dataset.light ?? "diffuse"}.png`;
  }
}

for (const radio of document.querySelectorAll("[name=light]")) {
  radio.addEventListener("change", () => {
    seen();
    if (EYES.includes(radio.value) && !looks) {
      by("sheets").classList.add("old");
      lay(here.query);
      return;
    }
    frames.forEach((frame, number) => {
      const img = by(`sheet-${number}`);
      if (img.dataset.job) {
        img.dataset.light = radio.value;
        img.src = `/sheet/picture/${img.dataset.job}/${number}/${radio.value}.png`;
      }
    });
    along();
  });
}

by("stop").addEventListener("click", async () => {
  const mine = job;
  job = "";
  busy(false, true);
  await send(`/jobs/${mine}/stop`, {});
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
along();
draw();
lay(here.query);
document.documentElement.dataset.ready = "1";
