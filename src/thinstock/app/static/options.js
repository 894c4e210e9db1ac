// The options page: machines are put beside the first one or taken away; the page is loaded anew with its new address.

import { Address, goOn, undoing } from "./page.js";

const here = new Address(location.search);
const reading = document.getElementById("numbers");

const to = (query) => goOn(`${location.pathname}?${query}`);
const undo = undoing(`thinstock-options ${here.own("file") || here.own("machine")}`, () => here.query, to);

function go(others) {
  undo.step(here.query);
  reading.dataset.state = "asking";
  to(here.all("other", others).query);
}

document.getElementById("add")?.addEventListener("change", (event) => {
  if (event.target.value) go([...here.list("other"), event.target.value]);
});
for (const button of document.querySelectorAll("[data-remove]")) {
  button.addEventListener("click", () => go(here.list("other").filter((_, number) => String(number) !== button.dataset.remove)));
}
undo.shown();
document.documentElement.dataset.ready = "1";
