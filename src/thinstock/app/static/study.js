// The study page: a study is started from the form, followed with its progress, stopped, taken up again; its result is
// a record with an address of its own, which is then loaded.

import { Address, goOn, pageLinks, send } from "./page.js";
import { draw } from "./charts.js";

const by = (id) => document.getElementById(id);
const words = JSON.parse(by("study-words").textContent);
const say = (key, values = {}) => words[key].replace(/\{(\w+)\}/g, (_, field) => values[field] ?? "");
const form = by("form");
const ranges = JSON.parse(by("ranges").textContent);
const machine = new Address(location.search).without("part", "kept", "chart");
const KEY = `thinstock-study ${location.host}`;
let job = "";
let part = form.dataset.part;

// -- words above the reading -------------------------------------------------------------------------------------------

function notice(title, lines = [], mild = false) {
  const place = by("notice");
  place.hidden = !title;
  place.classList.toggle("mild", mild);
  const head = Object.assign(document.createElement("h2"), { textContent: title });
  place.replaceChildren(head, ...lines.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
}

function clear() {
  for (const place of form.querySelectorAll("[data-fault]")) { place.hidden = true; place.textContent = ""; }
  for (const row of form.querySelectorAll(".wrong")) row.classList.remove("wrong");
}

/** Every fault at its box where it has one, and above the reading where not. */
function faults(rows) {
  const left = [];
  let first = null;
  for (const { field, text } of rows) {
    const row = form.querySelector(`[data-own="${CSS.escape(field)}"]`);
    const place = row?.querySelector("[data-fault]") ?? row?.closest("[data-own]:has([data-fault])")?.querySelector("[data-fault]");
    if (!place) { left.push(`${field}: ${text}`); continue; }
    place.textContent = place.hidden ? text : `${place.textContent} ${text}`;
    place.hidden = false;
    row.classList.add("wrong");
    first ??= row.querySelector("input, select");
  }
  notice(say("refused"), left.length ? left : rows.map(({ text }) => text));
  first?.focus();
}

// -- the work ------------------------------------------------------------------------------------------------------------

function remember(value) {
  try { if (value) sessionStorage.setItem(KEY, JSON.stringify(value)); else sessionStorage.removeItem(KEY); } catch { /* not kept */ }
}

function busy(now) {
  by("laying").hidden = !now;
  by("start").disabled = now;
  by("stop").disabled = !job;
  const resume = by("resume");
  if (resume) resume.disabled = now;
  by("progress").removeAttribute("value");
  by("said").textContent = now ? say("working") : "";
  const none = by("none");
  if (none) none.hidden = now;
}

function time(seconds) {
  return seconds < 90 ? say("seconds", { count: Math.max(1, Math.round(seconds)) }) : say("minutes", { count: Math.round(seconds / 60) });
}

async function begin(path, body) {
  clear();
  notice("");
  job = "";
  busy(true);
  const { ok, status, told } = await send(path, body);
  if (!ok) {
    busy(false);
    if (status === 422) faults(told.faults);
    else notice(say(status === 403 ? "closed" : status === 500 ? "failed" : "away"));
    return;
  }
  remember({ job: told.job, part });
  follow(told.job);
}

async function follow(mine) {
  job = mine;
  busy(true);
  const began = performance.now();
  let seen = -1;
  let from = null;
  while (mine === job) {
    const { ok, status, told } = await send(`/jobs/${mine}?seen=${seen}`);
    if (mine !== job) return;
    if (!ok) {
      if (status === 404) { over(); notice(say("lost")); return; }
      notice(say(status === 403 ? "closed" : "away"));
      if (status === 403) { busy(false); return; }
      await new Promise((done) => { setTimeout(done, 1500); });
      continue;
    }
    seen = told.seen;
    if (told.share > 0) {
      by("progress").value = told.share;
      const gone = (performance.now() - began) / 1000;
      if (told.share >= 0.02) from ??= { gone, share: told.share };
      const left = from && told.share > from.share && gone - from.gone > 2 ? ((gone - from.gone) / (told.share - from.share)) * (1 - told.share) : 0;
      by("said").textContent = [told.said || say("working"), left > 0 ? say("left", { time: time(left) }) : ""].filter(Boolean).join(", ");
    }
    if (told.state === "done") { await arrive(mine); return; }
    if (told.state === "refused") { over(); faults(told.faults); return; }
    if (told.state === "failed") { over(); notice(say("failed")); return; }
    if (told.state === "stopped") { over(); notice(say(part === "sweep" ? "stopped_sweep" : "stopped"), [], true); return; }
  }
}

function over() { job = ""; remember(null); busy(false); }

async function arrive(mine) {
  const { told } = await send(`/study/done/${mine}`);
  over();
  if (told.kept) goOn(`/study?${machine.other("kept", told.kept).query}`);
}

by("stop").addEventListener("click", async () => {
  const mine = job;
  job = "";
  await send(`/jobs/${mine}/stop`, {});
  const { told } = await send(`/study/done/${mine}`);
  over();
  notice(say(part === "sweep" ? "stopped_sweep" : "stopped"), [], true);
  by("start").focus();
  if (told.kept && part === "sweep") goOn(`/study?${machine.other("kept", told.kept).query}`);
});

by("resume")?.addEventListener("click", () => begin("/study/resume", { kept: by("study").dataset.kept }));

form.addEventListener("submit", (event) => {
  event.preventDefault();
  if (by("start").disabled) return;
  begin("/study/start", { query: machine.query, part, fields: Object.fromEntries(new FormData(form)) });
});

// -- the form ------------------------------------------------------------------------------------------------------------

function unit(at) {
  const place = form.querySelector(`[data-unit="${at}"]`);
  if (place) place.textContent = ranges[form.elements[at].value]?.[2] ?? "";
}

form.addEventListener("change", (event) => {
  const at = event.target.dataset.varied;
  if (at) {
    const [low, high] = ranges[event.target.value] ?? ["", ""];
    form.elements[`${at}_low`].value = low;
    form.elements[`${at}_high`].value = high;
    unit(at);
  }
  const study = by("study");
  if (study && !study.classList.contains("old")) {
    study.classList.add("old");
    by("spoken").textContent = say("changed");
    if (by("notice").hidden) notice(say("changed"), [], true);
  }
});

for (const select of form.querySelectorAll("[data-varied]")) unit(select.dataset.varied);
pageLinks(machine.query);
for (const link of document.querySelectorAll("[data-units]")) {
  const kept = new Address(location.search);
  link.search = kept.other("units", link.dataset.units).query;
}
draw();
try {
  const going = JSON.parse(sessionStorage.getItem(KEY));
  if (going?.job) { part = going.part; follow(going.job).then(() => { part = form.dataset.part; }); }
} catch { /* none under way */ }
document.documentElement.dataset.ready = "1";
