// The survey page: choose or bring a table, set readings aside and take them back, calibrate, keep the machine.
// Every choice is another address; what is brought goes to the server as text, or a workbook as base64.

import { Address, say, send } from "./page.js";

const by = (id) => document.getElementById(id);
const here = new Address(location.search);
const reading = by("numbers");
const aside = here.list("without");

function go(address) {
  reading.dataset.state = "asking";
  location.assign(`${location.pathname}?${address.query}`);
}

function refuse(told, status) {
  const notice = by("notice");
  const lines = told.faults?.map((fault) => `${fault.field}: ${fault.text}`)
    ?? [told.refused ?? say(status ? "state.fault_title" : "state.away_title")];
  notice.replaceChildren(...lines.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
  notice.hidden = false;
  notice.scrollIntoView({ block: "nearest" });
  reading.dataset.state = "fresh";
}

by("table").addEventListener("change", (event) => go(here.without("table", "without", "calibrate").other("table", event.target.value)));
for (const button of document.querySelectorAll("[data-off]")) {
  button.addEventListener("click", () => go(here.all("without", [...aside, button.dataset.off])));
}
for (const button of document.querySelectorAll("[data-on]")) {
  button.addEventListener("click", () => go(here.all("without", aside.filter((name) => name !== button.dataset.on))));
}

async function take(body) {
  reading.dataset.state = "asking";
  const { ok, status, told } = await send("/survey/take", { query: here.without("table", "without", "calibrate").query, ...body });
  if (ok) location.assign(`${location.pathname}?${told.query}`); else refuse(told, status);
}

by("take").addEventListener("click", () => take({ name: here.own("table") || "readings.csv", text: by("text").value }));
by("file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (!file) return;
  if (/\.xlsx$/i.test(file.name)) {
    const bytes = new Uint8Array(await file.arrayBuffer());
    let text = "";
    for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
    await take({ name: file.name, workbook: btoa(text) });
  } else {
    await take({ name: file.name, text: await file.text() });
  }
  event.target.value = "";
});

by("calibrate")?.addEventListener("click", () => go(here.other("calibrate", "1")));
by("keep")?.addEventListener("click", async () => {
  const { ok, status, told } = await send("/survey/keep", { query: here.query });
  if (ok) location.assign(`/machine?${told.query}`); else refuse(told, status);
});
document.documentElement.dataset.ready = "1";
