// The options page: machines are put beside the first one or taken away; the page is loaded anew with its new address.

import { Address, goOn } from "./page.js";

const here = new Address(location.search);
const reading = document.getElementById("numbers");

function go(others) {
  reading.dataset.state = "asking";
  goOn(`${location.pathname}?${here.all("other", others).query}`);
}

document.getElementById("add")?.addEventListener("change", (event) => {
  if (event.target.value) go([...here.list("other"), event.target.value]);
});
for (const button of document.querySelectorAll("[data-remove]")) {
  button.addEventListener("click", () => go(here.list("other").filter((_, number) => String(number) !== button.dataset.remove)));
}
document.documentElement.dataset.ready = "1";
