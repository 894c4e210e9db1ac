// The formers page: speed and consistency change, every strip answers.

import { Address, Loop, notice, pageLinks, put, say, send, showAddress, unitLinks } from "./page.js";
import { draw, fill } from "./charts.js";

const form = document.getElementById("form");
const reading = document.getElementById("numbers");
let here = new Address(location.search);

function standing(state) { reading.dataset.state = state; }

async function ask(query, part, signal) {
  const { ok, status, told } = await send("/formers/answer", { query, part }, signal);
  for (const place of form.querySelectorAll("[data-fault]")) { place.hidden = true; place.closest(".row").classList.remove("wrong"); }
  if (ok) {
    for (const [id, html] of Object.entries(told.pieces)) put(`p-${id}`, html);
    fill(told.charts);
    for (const row of told.rows) {
      const place = form.querySelector(`[data-address="${CSS.escape(row.address)}"]`);
      const box = place.querySelector("[data-value]");
      if (document.activeElement !== box) box.value = row.text;
      place.classList.toggle("changed", row.changed);
      place.querySelector("[data-back]").hidden = !row.changed;
    }
    for (const canvas of document.querySelectorAll(".strip .canvas")) canvas.classList.toggle("follows", !told.full);
    for (const link of document.querySelectorAll("[data-take]")) link.search = new Address(told.query).other("former", link.dataset.take).query;
    standing("fresh");
    notice("", "", []);
    if (query === here.query) {
      here = new Address(told.query);
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

const loop = new Loop({ quick: (query) => ask(query, "quick"), slow: (query, signal) => ask(query, "full", signal) });

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
  row.querySelector("[data-value]").value = event.target.value;
  changeTo(row, event.target.value);
});
form.addEventListener("change", (event) => {
  if (!event.target.matches("[data-value]")) return;
  const row = event.target.closest("[data-address]");
  row.querySelector("[data-slider]").value = event.target.value;
  changeTo(row, event.target.value.trim());
});
form.addEventListener("click", (event) => {
  if (event.target.matches("[data-back]")) {
    const row = event.target.closest("[data-address]");
    row.querySelector("[data-value]").value = row.dataset.base;
    row.querySelector("[data-slider]").value = row.dataset.base;
    go(here.unset(row.dataset.address));
  }
});
form.addEventListener("submit", (event) => event.preventDefault());

draw();
document.documentElement.dataset.ready = "1";
