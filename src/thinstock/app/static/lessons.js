// The list of lessons, the plain editor, and where a state is put into a lesson: every change is one request.

import { send } from "./page.js";

const by = (id) => document.getElementById(id);
const tell = (text) => { const place = by("told"); if (place) { place.textContent = text; place.scrollIntoView({ block: "nearest" }); } };
const why = (told) => told.faults?.map((fault) => `${fault.field}: ${fault.text}`).join(" ") ?? told.refused ?? "";

const adding = document.querySelector("[data-add]");
adding?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const body = { page: adding.dataset.add, state: adding.dataset.state, title: by("add-title").value, file: by("add-file").value, lesson: by("add-lesson").value };
  const { ok, told } = await send("/lessons/add", body);
  if (ok) location.assign(`/lessons/edit?file=${encodeURIComponent(told.file)}`); else tell(why(told));
});

for (const button of document.querySelectorAll("[data-copy]")) {
  button.addEventListener("click", async () => {
    const { ok, told } = await send("/lessons/copy", { lesson: button.dataset.copy });
    if (ok) location.assign(`/lessons/edit?file=${encodeURIComponent(told.file)}`); else tell(why(told));
  });
}

const editor = document.querySelector("[data-file][data-known].edit");
async function change(body) {
  const { ok, told } = await send("/lessons/change", { file: editor.dataset.file, known: editor.dataset.known, ...body });
  if (ok) location.reload(); else tell(why(told));
}
if (editor) {
  for (const form of editor.querySelectorAll("form[data-what]")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      change({ what: form.dataset.what, index: parseInt(form.dataset.index ?? "0", 10), ...Object.fromEntries(new FormData(form)) });
    });
  }
  for (const button of editor.querySelectorAll("button[data-index]")) {
    const index = parseInt(button.dataset.index, 10);
    button.addEventListener("click", () => change("move" in button.dataset ? { what: "move", index, to: parseInt(button.dataset.move, 10) } : { what: "remove", index }));
  }
}
document.documentElement.dataset.ready = "1";
