// The formers page: the ladder comes after the page; one former is lit, another may stand beside it.

import { Address, Loop, notice, pageLinks, put, say, send, showAddress, undoing, unitLinks } from "./page.js";

const form = document.getElementById("form");
const reading = document.getElementById("numbers");
const row = document.getElementById("p-row");
const beside = document.getElementById("beside");
let here = new Address(location.search);
let whose = "former";
let lit = "own";
const wide = () => { const room = document.querySelector(".plate").clientWidth; return room < 480 ? "narrow" : room < 760 ? "mid" : "wide"; };

/** Show the lit former and the one beside it, here and on the field. */
function light(key, focus = false) {
  const buttons = [...row.querySelectorAll("button")];
  if (!buttons.some((button) => button.dataset.key === key)) key = buttons[0]?.dataset.key;
  lit = key;
  for (const button of buttons) {
    const on = button.dataset.key === key;
    button.setAttribute("aria-pressed", String(on));
    if (on && focus) button.focus();
  }
  for (const mark of document.querySelectorAll("#p-field [data-key]")) mark.classList.toggle("lit", mark.dataset.key === key);
  for (const one of document.querySelectorAll("#p-brief > *")) one.hidden = one.dataset.key !== key;
  files();
  const place = document.getElementById("p-shown");
  for (const one of place.children) one.hidden = one.dataset.key !== key && one.dataset.key !== beside.value;
  place.classList.toggle("two", Boolean(beside.value) && beside.value !== key);
}

/** What can be taken along as a file follows the address, the lit former and whose capacity it is. */
function files() {
  for (const link of document.querySelectorAll("[data-file]")) link.href = `/formers/file/${link.dataset.file}?${here.other("lit", lit).other("whose", whose).query}`;
}

function names() {
  const chosen = beside.value;
  beside.replaceChildren(beside.options[0], ...[...row.querySelectorAll("button")].map((button) => new Option(button.querySelector("span").textContent, button.dataset.key)));
  beside.value = chosen;
}

function standing(state) { reading.dataset.state = state; }

async function ask(query, part, signal) {
  const { ok, status, told } = await send("/formers/answer", { query, part, width: wide() }, signal);
  for (const place of form.querySelectorAll("[data-fault]")) { place.hidden = true; place.closest(".row").classList.remove("wrong"); }
  if (ok) {
    for (const [id, html] of Object.entries(told.pieces)) if (document.getElementById(`p-${id}`)) put(`p-${id}`, html);
    if (told.full) {
      document.getElementById("unknown-place").hidden = !told.pieces.unknown;
      names();
      light(lit);
    }
    for (const row of told.rows) {
      const place = form.querySelector(`[data-address="${CSS.escape(row.address)}"]`);
      const box = place.querySelector("[data-value]");
      const slider = place.querySelector("[data-slider]");
      if (document.activeElement !== box) box.value = row.text;
      if (slider && document.activeElement !== slider) slider.value = row.text;
      place.classList.toggle("changed", row.changed);
      place.querySelector("[data-back]").hidden = !row.changed;
    }
    document.getElementById("p-field").classList.toggle("follows", !told.full);
    if (told.full) document.documentElement.dataset.ready = "1";
    for (const link of document.querySelectorAll("[data-take]")) link.search = new Address(told.query).other("former", link.dataset.take).query;
    standing("fresh");
    notice("", "", []);
    if (query === here.query) {
      here = new Address(told.query);
      undo.stand(told.query);
      showAddress(told.query);
      pageLinks(told.query);
      unitLinks(here);
    }
    return true;
  }
  standing(status === 500 ? "failed" : "before");
  if (status === 422) {
    const lines = told.faults.map((fault) => {
      const row = form.querySelector(`[data-address="${CSS.escape(fault.field)}"]`);
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

const loop = new Loop({ quick: (query) => ask(query, "quick"), slow: (query, signal) => ask(query, whose, signal) });

const undo = undoing(`thinstock-undo ${here.own("file") || here.own("machine")}`, () => here.query, (query) => go(new Address(query)));
let grasped = null;

function go(next) {
  here = next;
  showAddress(here.query);
  if (reading.dataset.state === "fresh") standing("asking");
  loop.ask(here.query);
}

function changeTo(row, text) {
  go(text === row.dataset.base ? here.unset(row.dataset.address) : here.set(row.dataset.address, text));
}

form.addEventListener("input", (event) => {
  if (!event.target.matches("[data-slider]")) return;
  const row = event.target.closest("[data-address]");
  if (grasped !== event.target) { grasped = event.target; undo.step(here.query); }
  row.querySelector("[data-value]").value = event.target.value;
  changeTo(row, event.target.value);
});
form.addEventListener("change", (event) => {
  if (event.target.matches("[data-slider]")) grasped = null;
  if (!event.target.matches("[data-value]")) return;
  undo.step(here.query);
  const row = event.target.closest("[data-address]");
  row.querySelector("[data-slider]").value = event.target.value;
  changeTo(row, event.target.value.trim());
});
form.addEventListener("click", (event) => {
  if (event.target.matches("[data-back]")) {
    const row = event.target.closest("[data-address]");
    row.querySelector("[data-value]").value = row.dataset.base;
    row.querySelector("[data-slider]").value = row.dataset.base;
    undo.step(here.query);
    go(here.unset(row.dataset.address));
  }
});
form.addEventListener("submit", (event) => event.preventDefault());

row.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button) light(button.dataset.key);
});
row.addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!step) return;
  const keys = [...row.querySelectorAll("button")].map((button) => button.dataset.key);
  light(keys[(keys.indexOf(lit) + step + keys.length) % keys.length], true);
  event.preventDefault();
});
document.getElementById("p-field").addEventListener("click", (event) => {
  const row = event.target.closest?.(".row[data-key]");
  if (row) light(row.dataset.key);
});
let drawnFor = wide();
addEventListener("resize", () => { if (wide() !== drawnFor) { drawnFor = wide(); loop.ask(here.query); } });
beside.addEventListener("change", () => light(lit));
for (const button of document.querySelectorAll("[data-whose]")) button.addEventListener("click", () => {
  whose = button.dataset.whose;
  for (const one of document.querySelectorAll("[data-whose]")) one.setAttribute("aria-pressed", String(one === button));
  loop.ask(here.query);
});

undo.arrive(here.query);
undo.shown();
ask(here.query, whose);
