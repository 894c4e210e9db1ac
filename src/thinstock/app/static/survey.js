// The survey page: what is typed goes to the server as it stands and comes back balanced. Nothing is worked out here.

import { Address, Undo, guard, put, say, send } from "./page.js";
import { follow } from "./jobs.js";
import { signals } from "./signals.js";

const by = (id) => document.getElementById(id);
const here = new Address(location.search);
const machine = here.without("table", "without", "calibrate");
const reading = by("numbers");
const table = by("readings");
const columns = table.dataset.columns.split(" ");
const rows = [...table.querySelectorAll("[data-line]")];
const NS = "http://www.w3.org/2000/svg";

// -- the lines ----------------------------------------------------------------------------------------------------------

const cells = (row) => JSON.parse(row.dataset.cells);
const state = () => rows.map((row) => ({ cells: cells(row), aside: row.dataset.aside !== undefined }));
const body = (more = {}) => ({ query: here.query, lines: state(), ...more });
let kept = JSON.stringify(state());

function write(row, column, text) {
  const now = cells(row);
  now[columns.indexOf(column)] = text;
  row.dataset.cells = JSON.stringify(now);
}

function restore(text) {
  for (const [i, { cells: texts, aside }] of JSON.parse(text).entries()) {
    rows[i].dataset.cells = JSON.stringify(texts);
    setAside(rows[i], aside);
    boxes(rows[i]);
  }
}

function boxes(row) {
  const now = cells(row);
  for (const box of row.querySelectorAll("[data-cell]")) box.value = now[columns.indexOf(box.dataset.cell)];
}

function setAside(row, aside) {
  if (aside) row.dataset.aside = ""; else delete row.dataset.aside;
  row.querySelector("[data-off]").textContent = say(aside ? "survey.back" : "survey.off");
}

// -- one question in flight, the latest wins --------------------------------------------------------------------------------

let asking = null;
let later = null;
let trying = null;

function ask(wait = 250, more = {}) {
  buttons();
  reading.dataset.state = "asking";
  for (const id of ["p-constants", "p-next"]) by(id).replaceChildren();
  by("next-part").open = by("water-part").open = false;
  clearTimeout(later);
  asking?.abort();
  later = setTimeout(async () => {
    asking = new AbortController();
    try {
      const { ok, status, told } = await send("/survey/answer", body(more), asking.signal);
      clearTimeout(trying);
      if (ok) show(told);
      else { reading.dataset.state = "before"; trouble(told, status); if (!status) trying = setTimeout(() => ask(0), 1500); }
    } catch (error) { if (error.name !== "AbortError") throw error; }
  }, wait);
}

function show(told) {
  notice([]);
  if (told.turned) { rows[told.turned.line].dataset.cells = JSON.stringify(told.turned.cells); boxes(rows[told.turned.line]); }
  put("p-verdict", told.pieces.verdict);
  told.lines.forEach((one, i) => line(rows[i], one));
  faults(told.faults);
  ring(told.culprits);
  const address = machine.other("table", here.own("table")).all("without", told.aside);
  if (JSON.stringify(state()) === kept || here.own("table")) history.replaceState(null, "", `?${address.query}`);
  reading.dataset.state = "fresh";
  buttons();
}

function line(row, one) {
  row.querySelector("[data-number]").textContent = one.number || "";
  row.querySelector("[data-balanced]").textContent = one.balanced;
  row.querySelector("[data-off]").hidden = !one.number;
  row.classList.toggle("doubtful", one.doubtful);
  row.querySelector("[data-mark]").replaceChildren(mark(one, row));
}

/** How far the balance moves a reading, in its own uncertainty: a band of ± 2, a line, a point; beyond it a diamond. */
function mark(one, row) {
  const made = svg("svg", { viewBox: "-80 0 160 19", role: "img" });
  if (one.moved === null) {
    const text = svg("text", { x: 0, y: 13, "text-anchor": "middle" });
    text.textContent = row.dataset.aside !== undefined ? say("survey.aside") : one.number ? say("survey.not_balanced") : one.balanced ? say("survey.not_read") : "";
    made.setAttribute("aria-label", text.textContent);
    made.append(text);
    if (!text.textContent) { made.setAttribute("aria-hidden", "true"); made.removeAttribute("role"); }
    return made;
  }
  const x = 18 * one.moved;
  made.append(svg("line", { x1: -80, x2: 80, y1: 9.5, y2: 9.5, class: "line" }));
  made.setAttribute("aria-label", say("survey.moved_by", { moved: one.said }));
  made.append(svg("rect", { x: -36, y: 7.5, width: 72, height: 4, class: "band" }));
  made.append(svg("line", { x1: 0, x2: x, y1: 9.5, y2: 9.5, class: "move" }));
  made.append(one.doubtful || one.beyond
    ? svg("path", { d: `M${x - 6} 9.5L${x} 3.5L${x + 6} 9.5L${x} 15.5Z`, class: "doubt" })
    : svg("circle", { cx: x, cy: 9.5, r: 4, class: "at" }));
  return made;
}

function svg(name, attributes) {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function faults(found) {
  for (const row of rows) {
    const mine = found.filter((one) => String(one.line) === row.dataset.line);
    row.classList.toggle("bad", mine.length > 0);
    const place = table.querySelector(`[data-fault-of="${row.dataset.line}"]`);
    place.hidden = !mine.length;
    place.querySelector(".fault").textContent = mine.map((one) => one.text).join(" ");
  }
}

const parts = (picture) => [...picture.querySelectorAll("g[role=img]")];

/** The box round what is seen of a part, without its hidden words. */
function boxOf(group) {
  const boxes = [...group.children].filter((one) => one.getBBox && !one.matches(".ts-tip, title, desc, text")).map((one) => one.getBBox());
  const [left, top] = [Math.min(...boxes.map((b) => b.x)), Math.min(...boxes.map((b) => b.y))];
  const [right, foot] = [Math.max(...boxes.map((b) => b.x + b.width)), Math.max(...boxes.map((b) => b.y + b.height))];
  return { x: left, y: top, width: right - left, height: foot - top };
}

/** The machine alone, as large as the column allows. */
function crop(picture) {
  const boxes = parts(picture).map(boxOf).filter((box) => Number.isFinite(box.width));
  const [left, top] = [Math.min(...boxes.map((b) => b.x)) - 20, Math.min(...boxes.map((b) => b.y)) - 50];
  const [right, foot] = [Math.max(...boxes.map((b) => b.x + b.width)) + 20, Math.max(...boxes.map((b) => b.y + b.height)) + 1];
  picture.setAttribute("viewBox", `${left} ${top} ${right - left} ${foot - top}`);
}

/** A ring on the part of the drawing where a doubtful reading was taken. */
function ring(culprits) {
  const picture = by("drawing").querySelector("svg");
  picture.querySelectorAll(".ring, .ring-name").forEach((old) => old.remove());
  const view = picture.viewBox.baseVal;
  const seen = new Map();
  for (const { part, text } of culprits) {
    const group = parts(picture).find((one) => one.querySelector("title")?.textContent === part);
    if (!group) continue;
    const box = boxOf(group);
    const [x, y, r] = [box.x + box.width / 2, box.y + box.height / 2, Math.max(38, Math.min(box.width, box.height, 120) / 2 + 10)];
    const lines = seen.get(part) ?? 0;
    if (!lines) picture.append(svg("circle", { cx: x, cy: y, r, class: "ring" }));
    const name = svg("text", { x: Math.max(x, view.x + 8), y: Math.max(view.y + 30, y - r - 10 - 34 * lines), "text-anchor": "middle", class: "ring-name", "font-size": 32 });
    name.textContent = text;
    picture.append(name);
    const wide = name.getBBox();
    if (wide.x < view.x) name.setAttribute("x", x + view.x - wide.x + 4);
    if (wide.x + wide.width > view.x + view.width) name.setAttribute("x", x - (wide.x + wide.width - view.x - view.width) - 4);
    seen.set(part, lines + 1);
  }
}

function notice(lines) {
  const place = by("notice");
  place.replaceChildren(...lines.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
  place.hidden = !lines.length;
  if (lines.length) place.scrollIntoView({ block: "nearest" });
}

const said = (told, status) => told.faults?.map((fault) => fault.text)
  ?? [told.refused ?? say(status === 0 ? "state.away" : "state.fault_title")];
const trouble = (told, status) => notice([...said(told, status), say("state.before")]);

// -- what a person does -----------------------------------------------------------------------------------------------------

const undo = new Undo(`thinstock-survey ${here.own("file") || here.own("machine")} ${here.own("table")}`, () => buttons());
function buttons() {
  by("undo").disabled = !undo.past.length;
  by("redo").disabled = !undo.future.length;
  by("unsaved").textContent = JSON.stringify(state()) === kept ? "" : say("survey.unsaved");
}
guard(() => JSON.stringify(state()) !== kept);

function change(make, more) {
  undo.step(JSON.stringify(state()));
  make();
  ask(0, more);
}

function go(way) {
  const text = way === "back" ? undo.back(JSON.stringify(state())) : undo.again(JSON.stringify(state()));
  if (text !== undefined) { restore(text); ask(0); }
}
by("undo").addEventListener("click", () => go("back"));
by("redo").addEventListener("click", () => go("again"));
addEventListener("keydown", (event) => {
  const key = event.key.toLowerCase();
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  if (key === "s") { event.preventDefault(); by("save-table").click(); }
  if (key !== "z" && key !== "y") return;
  event.preventDefault();
  go(event.shiftKey || key === "y" ? "again" : "back");
});

let begun = null;
table.addEventListener("input", (event) => {
  const box = event.target;
  if (!box.matches("input[data-cell]")) return;
  const row = box.closest("[data-line]");
  if (begun !== box) { begun = box; undo.step(JSON.stringify(state())); }
  write(row, box.dataset.cell, box.value.trim());
  ask();
});
table.addEventListener("change", (event) => {
  begun = null;
  if (!event.target.matches("select[data-cell]")) return;
  const row = event.target.closest("[data-line]");
  undo.step(JSON.stringify(state()));
  ask(0, { unit: { line: row.dataset.line, unit: event.target.value } });
});
table.addEventListener("click", (event) => {
  if (!event.target.matches("[data-off]")) return;
  const row = event.target.closest("[data-line]");
  change(() => setAside(row, row.dataset.aside === undefined));
});
table.addEventListener("keydown", (event) => {
  const box = event.target;
  if (!box.matches("input[data-cell]") || !["Enter", "ArrowDown", "ArrowUp"].includes(event.key)) return;
  event.preventDefault();
  const all = [...table.querySelectorAll(`input[data-cell="${box.dataset.cell}"]`)];
  all[all.indexOf(box) + (event.key === "ArrowUp" ? -1 : 1)]?.focus();
});
by("form").addEventListener("submit", (event) => event.preventDefault());

/** A column copied from a spreadsheet fills the cells below; a whole table is taken as one. */
table.addEventListener("paste", (event) => {
  const text = event.clipboardData.getData("text").replace(/\r/g, "").replace(/\n$/, "");
  const box = event.target;
  if (!box.matches("input[data-cell]") || !/[\n\t]/.test(text)) return;
  event.preventDefault();
  if (text.startsWith(columns.slice(0, 3).join("\t"))) {
    take({ name: "pasted.csv", text: text.split("\n").map((row) => row.split("\t").map((c) => `"${c.replaceAll('"', '""')}"`).join(",")).join("\n") });
    return;
  }
  change(() => {
    const all = [...table.querySelectorAll(`input[data-cell="${box.dataset.cell}"]`)];
    text.split("\n").forEach((one, i) => {
      const cell = all[all.indexOf(box) + i];
      if (!cell) return;
      cell.value = one.split("\t")[0].trim();
      write(cell.closest("[data-line]"), cell.dataset.cell, cell.value);
    });
  });
});

table.addEventListener("focusin", (event) => {
  const row = event.target.closest("[data-line]");
  if (!row) return;
  const how = by("how");
  how.hidden = !row.dataset.how;
  how.querySelector("h2").textContent = say("survey.how", { reading: row.querySelector("th").textContent });
  for (const part of ["how", "usual", "caution"]) how.querySelector(`[data-part=${part}]`).textContent = row.dataset[part] && say(`survey.${part}_text`, { text: row.dataset[part] });
});

by("p-verdict").addEventListener("click", (event) => {
  const { aside, on, wider } = event.target.dataset;
  if (aside !== undefined) change(() => aside.split(" ").forEach((i) => setAside(rows[i], true)));
  if (on !== undefined) change(() => setAside(rows[on], false));
  if (wider !== undefined) widen(rows[wider]);
});

function widen(row) {
  const now = cells(row);
  by("wider-name").textContent = row.querySelector("th").textContent;
  by("wider-spread").value = now[columns.indexOf("uncertainty")];
  by("wider-why").value = "";
  by("wider-form").onsubmit = () => change(() => {
    const note = now[columns.indexOf("note")];
    write(row, "uncertainty", by("wider-spread").value.trim());
    write(row, "note", [note, say("survey.wider_note", { why: by("wider-why").value.trim() })].filter(Boolean).join("; "));
    boxes(row);
  });
  by("dialog-wider").showModal();
}

// -- calibrating ----------------------------------------------------------------------------------------------------------------

/** How a job ended, in words. */
function ended(end) {
  return end.state === "refused" ? end.faults.map(({ field, text }) => `${field}: ${text}`) : [say(`survey.${end.state}`)];
}

const paragraph = (text) => Object.assign(document.createElement("p"), { className: "fault", textContent: text });

async function calibrate(more = {}) {
  const place = by("p-constants");
  by("calibrate").disabled = true;
  place.replaceChildren();
  try {
    const { ok, status, told } = await send("/survey/calibrate", body(more));
    if (!ok) {
      place.replaceChildren(...said(told, status).map(paragraph));
      if (status === 422 && by("verdict")?.dataset.passed === "") {
        const all = Object.assign(document.createElement("button"), { type: "button", textContent: say("survey.despite") });
        all.addEventListener("click", () => calibrate({ despite: true }));
        place.append(all);
      }
    } else {
      const asked = JSON.stringify(state());
      const end = await follow(told.job, by("calibrating"));
      const found = end.state === "done" ? await send(`/survey/constants/${told.job}`) : null;
      if (JSON.stringify(state()) !== asked) return;
      if (found?.ok) {
        put("p-constants", found.told.pieces.constants);
        by("keep").addEventListener("click", () => keep(told.job));
      } else place.replaceChildren(...ended(found ? { state: "lost" } : end).map(paragraph));
    }
    by("h-constants").focus({ preventScroll: true });
    by("calibration").scrollIntoView({ block: "start" });
  } finally { by("calibrate").disabled = false; }
}
by("calibrate").addEventListener("click", () => calibrate());

async function keep(job) {
  by("keep").disabled = true;
  const { ok, status, told } = await send("/survey/keep", { query: here.query, job });
  if (ok) { guard(() => false); location.assign(`/machine?${told.query}`); return; }
  by("keep").disabled = false;
  if (status === 404) by("p-constants").append(paragraph(say("survey.lost"))); else trouble(told, status);
}

signals({ said, ended, query: () => here.query });

by("next-part").addEventListener("toggle", async () => {
  if (!by("next-part").open || by("p-next").childElementCount) return;
  by("p-next").textContent = say("survey.waiting");
  const { ok, status, told } = await send("/survey/next", body());
  if (ok) put("p-next", told.pieces.next); else by("p-next").textContent = said(told, status).join(" ");
});
by("water-part").addEventListener("toggle", async () => {
  if (!by("water-part").open) return;
  const dark = getComputedStyle(document.documentElement).colorScheme.includes("dark");
  const { ok, told } = await send("/survey/water", body({ theme: dark ? "dark" : "" }));
  if (!ok) return;
  by("water").src = URL.createObjectURL(new Blob([told.svg], { type: "image/svg+xml" }));
  by("water").alt = told.alt;
  const kinds = { svg: "image/svg+xml", png: "image/png", csv: "text/csv" };
  for (const link of document.querySelectorAll("[data-water]")) {
    const made = Uint8Array.from(atob(told.files[link.dataset.water]), (c) => c.charCodeAt(0));
    link.href = URL.createObjectURL(new Blob([made], { type: kinds[link.dataset.water] }));
  }
});

by("report").addEventListener("click", async () => {
  const { ok, status, told } = await send("/survey/report", body());
  by("report-said").textContent = ok ? "" : said(told, status).join(" ");
  if (!ok) return;
  const bytes = Uint8Array.from(atob(told.pdf), (letter) => letter.charCodeAt(0));
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([bytes], { type: "application/pdf" }));
  link.download = told.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
});

// -- files ------------------------------------------------------------------------------------------------------------------------

for (const button of document.querySelectorAll("dialog [data-close]")) button.addEventListener("click", () => button.closest("dialog").close());
by("open-table").addEventListener("click", () => by("dialog-open").showModal());
by("table").addEventListener("change", (event) => location.assign(`?${machine.other("table", event.target.value).query}`));

async function take(content) {
  const { ok, status, told } = await send("/survey/take", { query: machine.query, ...content });
  if (ok) { location.assign(`?${told.query}`); return; }
  if (!by("dialog-open").open) by("dialog-open").showModal();
  by("open-fault").replaceChildren(Object.assign(document.createElement("p"), { textContent: say("survey.not_taken", { name: content.name }) }),
    ...said(told, status).map((text) => Object.assign(document.createElement("p"), { textContent: text })));
}
by("file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (!file) return;
  if (/\.(xlsx|parquet)$/i.test(file.name)) {
    const bytes = new Uint8Array(await file.arrayBuffer());
    let text = "";
    for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
    await take({ name: file.name, workbook: btoa(text) });
  } else await take({ name: file.name, text: await file.text() });
  event.target.value = "";
});

by("save-table").addEventListener("click", () => {
  by("save-fault").textContent = "";
  by("save-name").value = document.querySelector(".filebar").dataset.own || say("survey.own_name");
  by("dialog-save").showModal();
  by("save-name").select();
});
by("save-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const { own, known } = document.querySelector(".filebar").dataset;
  const name = by("save-name").value.trim();
  const { ok, status, told } = await send("/survey/save", body({ name, known: name === own ? known : "" }));
  if (!ok) { by("save-fault").textContent = said(told, status).join(" "); return; }
  kept = JSON.stringify(state());
  location.assign(`?${told.query}`);
});

const first = JSON.parse(document.getElementById("told").textContent);
first.lines.forEach((one, i) => line(rows[i], one));
faults(first.faults);
crop(by("drawing").querySelector("svg"));
ring(first.culprits);
buttons();
document.documentElement.dataset.ready = "1";
