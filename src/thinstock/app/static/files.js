// Open, save, save as, drop, download. What someone else wrote to a file in the meantime is never overwritten silently.

import { guard, say, send } from "./page.js";

const by = (id) => document.getElementById(id);

/** `now()` gives the address that stands; `stay()` lets the page be left without a question. */
export function files(now) {
  const bar = document.querySelector(".filebar");
  const dialogs = { open: by("dialog-open"), save: by("dialog-save"), conflict: by("dialog-conflict"), refused: by("dialog-refused") };
  for (const button of document.querySelectorAll("dialog [data-close]")) {
    button.addEventListener("click", () => button.closest("dialog").close());
  }
  const go = (query) => location.assign(`${location.pathname}?${query}`);

  // -- open
  by("open").addEventListener("click", async () => {
    const { ok, told } = await send("/files");
    fill(by("files-own"), ok ? told.files : [], say("file.no_files"));
    fill(by("files-bundled"), ok ? told.bundled : [], "");
    dialogs.open.showModal();
  });

  function fill(list, rows, none) {
    list.replaceChildren(...rows.map((row) => {
      const item = document.createElement("li");
      const link = Object.assign(document.createElement("a"), { textContent: row.title || row.name });
      link.href = `${location.pathname}?${row.query}`;
      item.append(link);
      if (row.about) item.append(Object.assign(document.createElement("span"), { className: "soft", textContent: row.about }));
      return item;
    }));
    if (!rows.length && none) list.append(Object.assign(document.createElement("li"), { className: "soft", textContent: none }));
  }

  by("open-file").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    event.target.value = "";
    if (file) await bring(file);
  });
  by("refused-other").addEventListener("click", () => { dialogs.refused.close(); by("open").click(); });

  // -- save
  async function save(name, known, title = "") {
    const { ok, status, told } = await send("/files/save", { query: now().query, name, known, title });
    if (ok) { guard(() => false); go(told.query); return; }
    if (status === 409) { conflict(told); return; }
    const text = told.faults?.map((fault) => fault.text).join(" ") ?? told.refused ?? say(status ? "state.fault_title" : "state.away_title");
    if (!dialogs.save.open) ask(name);
    by("save-fault").textContent = text;
  }

  function ask(name) {
    by("save-fault").textContent = "";
    by("save-name").value = name;
    by("save-title").value = by("machine-title").textContent;
    dialogs.conflict.close();
    dialogs.save.showModal();
    by("save-title").select();
  }

  const suggested = () => bar.dataset.file || by("file-name").textContent.replace(/\.toml$/, " mine.toml");
  by("save").addEventListener("click", () => {
    if (bar.dataset.file) save(bar.dataset.file, bar.dataset.known); else ask(suggested());
  });
  by("save-as").addEventListener("click", () => ask(suggested()));
  by("save-form").addEventListener("submit", (event) => { event.preventDefault(); save(by("save-name").value, "", by("save-title").value.trim()); });

  function conflict(told) {
    const mine = told.name === bar.dataset.file;
    by("dialog-conflict-title").textContent = say(mine ? "file.conflict_title" : "file.taken_title");
    by("conflict-text").textContent = say(mine ? "file.conflict" : "file.taken", { name: told.name });
    dialogs.save.close();
    by("conflict-as").onclick = () => ask(told.name);
    by("conflict-load").onclick = () => go(new URLSearchParams([["file", told.name]]).toString());
    by("conflict-over").onclick = () => { dialogs.conflict.close(); save(told.name, told.known); };
    dialogs.conflict.showModal();
  }

  addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") { event.preventDefault(); by("save").click(); }
  });

  // -- drop a file on the page
  const here = by("drop-here");
  const carries = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");
  addEventListener("dragover", (event) => { if (carries(event)) { event.preventDefault(); here.hidden = false; } });
  addEventListener("dragleave", (event) => { if (!event.relatedTarget) here.hidden = true; });
  addEventListener("drop", async (event) => {
    if (!carries(event)) return;
    event.preventDefault();
    here.hidden = true;
    const file = event.dataTransfer.files[0];
    if (file) await bring(file);
  });

  /** A file that was picked or dropped: opened, or refused in a dialog of its own, fault by fault. */
  async function bring(file) {
    const text = file.size > 1_000_000 ? "" : await file.text();
    const { ok, told } = await send("/files/drop", { name: file.name, text });
    if (ok) { go(told.query); return; }
    const faults = told.faults?.map((fault) => fault.text) ?? [told.refused ?? say("state.away")];
    dialogs.open.close();
    by("dialog-refused-title").textContent = say("file.refused_title", { name: file.name });
    by("refused-faults").replaceChildren(...faults.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
    dialogs.refused.showModal();
  }

  // -- menus close when left
  for (const menu of document.querySelectorAll("details.menu")) {
    menu.addEventListener("focusout", (event) => { if (!menu.contains(event.relatedTarget)) menu.open = false; });
    menu.addEventListener("keydown", (event) => { if (event.key === "Escape") { menu.open = false; menu.querySelector("summary").focus(); } });
  }

  return {
    /** Keep the links for downloads at the state that stands. */
    downloads(query) {
      for (const link of document.querySelectorAll("[data-download]")) link.search = query;
    },
  };
}
