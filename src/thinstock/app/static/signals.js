// Signals of a historian on the survey page: looked through as a job; the rounds found can be kept as tables.

import { put, send } from "./page.js";
import { follow } from "./jobs.js";

const by = (id) => document.getElementById(id);

/** `said` turns an answer into sentences, `ended` the end of a job; `query` gives the machine's address. */
export function signals({ said, ended, query }) {
  const fault = (texts) => by("signals-fault").replaceChildren(...texts.map((text) => Object.assign(document.createElement("p"), { textContent: text })));

  by("signals-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    if (by("signals-start").disabled) return;
    fault([]);
    by("p-signals").replaceChildren();
    const form = new FormData(by("signals-form"));
    const fields = Object.fromEntries(["files", "tags", "zone", "length", "begin", "end"].map((name) => [name, form.get(name)]));
    by("signals-start").disabled = true;
    try {
      const { ok, status, told } = await send("/survey/signals/start", { query: query(), ...fields, drift: form.has("drift") });
      if (!ok) { fault(said(told, status)); return; }
      const end = await follow(told.job, by("looking"));
      if (end.state !== "done") { fault(ended(end)); return; }
      const found = await send(`/survey/signals/found/${told.job}`);
      if (!found.ok) { fault(ended({ state: "lost" })); return; }
      put("p-signals", found.told.pieces.signals);
      by("keep-rounds")?.addEventListener("click", async () => {
        by("keep-rounds").disabled = true;
        const kept = await send("/survey/signals/keep", { job: told.job });
        by("rounds-said").textContent = kept.ok ? kept.told.said : said(kept.told, kept.status).join(" ");
      });
    } finally { by("signals-start").disabled = false; }
  });

  const bundled = by("s-files").value;
  by("s-bring").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    const bytes = new Uint8Array(await file.arrayBuffer());
    let text = "";
    for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
    const { ok, status, told } = await send("/survey/signals/bring", { name: file.name, content: btoa(text) });
    event.target.value = "";
    if (!ok) { fault(said(told, status)); return; }
    const first = /tags/i.test(told.name) ? by("s-tags") : by("s-files");
    first.value = first === by("s-tags") || first.value === bundled ? told.name : `${first.value.trimEnd()}\n${told.name}`;
  });
}
