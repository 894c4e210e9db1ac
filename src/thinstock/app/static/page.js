// What every page needs: the words, the address as state, one request at a time, undo in the tab.
// No number is worked out here: values go to the server as texts and come back as texts.

export const words = JSON.parse(document.getElementById("words").textContent);

export function say(key, values = {}) {
  const [group, name] = key.split(".");
  return words[group][name].replace(/\{(\w+)\}/g, (_, field) => values[field] ?? "");
}

// -- requests ---------------------------------------------------------------------------------------------------------

let heard = 0;

/** What became of a request: { ok, status, told }. A request that was put off throws AbortError. */
export async function send(path, body, signal) {
  let reply;
  try {
    reply = await fetch(path, body === undefined ? { signal } : {
      method: "POST", signal, body: JSON.stringify(body), headers: { "content-type": "application/json" },
    });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    return { ok: false, status: 0, told: {} };
  }
  heard = performance.now();
  let told = {};
  try { told = await reply.json(); } catch (error) {
    if (error.name === "AbortError") throw error;
    if (reply.ok) return { ok: false, status: 0, told: {} };
  }
  return { ok: reply.ok, status: reply.status, told };
}

// -- the address ------------------------------------------------------------------------------------------------------

/** The state of the page as its query. Never changed in place: every change gives another one. */
export class Address {
  constructor(query) { this.rows = [...new URLSearchParams(query)]; }

  get query() { return new URLSearchParams(this.rows).toString(); }

  own(name) { return this.rows.find(([key]) => key === name)?.[1] ?? ""; }

  get changes() {
    return new Map(this.rows.filter(([key]) => key === "set").map(([, value]) => {
      const at = value.indexOf("=");
      return [value.slice(0, at), value.slice(at + 1)];
    }));
  }

  #with(rows) { const made = new Address(""); made.rows = rows; return made; }

  set(where, text) { return this.#with([...this.unset(where).rows, ["set", `${where}=${text}`]]); }

  unset(where) { return this.#with(this.rows.filter(([key, value]) => key !== "set" || !value.startsWith(`${where}=`))); }

  without(...names) { return this.#with(this.rows.filter(([key]) => !names.includes(key))); }

  other(name, value) {
    const rows = this.without(name).rows;
    return this.#with(value === "" ? rows : [...rows, [name, value]]);
  }

  all(name, values) { return this.#with([...this.without(name).rows, ...values.map((value) => [name, value])]); }

  list(name) { return this.rows.filter(([key]) => key === name).map(([, value]) => value); }
}

let placing = null;

/** Show the state in the browser's address; while it changes fast, only the last one (browsers allow few a second). */
export function showAddress(query) {
  clearTimeout(placing);
  placing = setTimeout(() => history.replaceState(null, "", `?${query}`), 120);
}

// -- one request in flight, the latest wins -------------------------------------------------------------------------------

/** Asks for what is wanted last. Every answer that comes is shown before the next is asked for. */
export class Loop {
  #wanted = null;
  #busy = false;
  #later = null;
  #slow = null;

  /** quick(query) and slow(query, signal) do one request and show it; each gives false when it could not. */
  constructor({ quick, slow, pause = 160 }) { Object.assign(this, { quick, slow, pause }); }

  ask(query) {
    this.#wanted = query;
    clearTimeout(this.#later);
    this.#slow?.abort();
    if (!this.#busy) this.#run();
  }

  get idle() { return !this.#busy && this.#wanted === null && this.#slow === null; }

  async #run() {
    this.#busy = true;
    let good = null;
    while (this.#wanted !== null) {
      const query = this.#wanted;
      this.#wanted = null;
      good = (await this.quick(query)) ? query : null;
    }
    this.#busy = false;
    if (good !== null) this.#later = setTimeout(() => this.#follow(good), this.pause);
  }

  async #follow(query) {
    const stop = new AbortController();
    this.#slow = stop;
    try { await this.slow(query, stop.signal); } catch (error) { if (error.name !== "AbortError") throw error; }
    if (this.#slow === stop) this.#slow = null;
  }
}

// -- undo, in the tab ---------------------------------------------------------------------------------------------------

/** What the machine itself is made of in an address, whatever the page and the units. */
const core = (query) => [...new URLSearchParams(query)].filter(([key]) => ["machine", "file", ...OWN].includes(key)).map(String).sort().join();

export class Undo {
  constructor(key, changed) {
    this.key = key;
    this.changed = changed;
    this.past = [];
    this.future = [];
    try { ({ past: this.past, future: this.future } = JSON.parse(sessionStorage.getItem(key)) ?? this); } catch { /* none kept */ }
  }

  #keep() {
    try { sessionStorage.setItem(this.key, JSON.stringify({ past: this.past.slice(-200), future: this.future })); } catch { /* full */ }
    this.changed();
  }

  /** The state a page was opened with: where another page changed the machine, that is a step too. */
  arrive(now) {
    let last = null;
    try { last = sessionStorage.getItem(`${this.key} now`); } catch { /* none kept */ }
    if (last !== null && core(last) !== core(now)) this.step(last);
    this.stand(now);
  }

  stand(now) { try { sessionStorage.setItem(`${this.key} now`, now); } catch { /* full */ } }

  /** The state before a change that is about to stand. */
  step(before) {
    if (this.past.at(-1) === before) return;
    this.past.push(before);
    this.future = [];
    this.#keep();
  }

  back(now) {
    const found = this.past.pop();
    if (found !== undefined) { this.future.push(now); this.#keep(); }
    return found;
  }

  again(now) {
    const found = this.future.pop();
    if (found !== undefined) { this.past.push(now); this.#keep(); }
    return found;
  }
}

/** Undo and redo with their buttons and keys. `now()` is the query that stands, `go(query)` goes to another one. */
export function undoing(key, now, go, more = () => {}) {
  const button = (name) => document.getElementById(name);
  const undo = new Undo(key, () => shown());
  function shown() {
    button("undo").disabled = !undo.past.length;
    button("redo").disabled = !undo.future.length;
    more();
  }
  function step(move) {
    const query = move === "back" ? undo.back(now()) : undo.again(now());
    if (query !== undefined) go(query);
  }
  button("undo").addEventListener("click", () => step("back"));
  button("redo").addEventListener("click", () => step("again"));
  addEventListener("keydown", (event) => {
    const key = event.key.toLowerCase();
    if (!(event.ctrlKey || event.metaKey) || event.altKey || key !== "z" && key !== "y") return;
    const { target } = event;
    if (target.matches("input[type=text]") && target.value !== target.defaultValue && target.dataset.typing) return;
    event.preventDefault();
    step(event.shiftKey || key === "y" ? "again" : "back");
  });
  undo.shown = shown;
  return undo;
}

// -- pieces -----------------------------------------------------------------------------------------------------------------

const shown = new WeakMap();

/** Put a piece in its place, if it differs from what stands there. */
export function put(id, html) {
  const place = document.getElementById(id);
  if (place && shown.get(place) !== html) {
    place.innerHTML = html;
    shown.set(place, html);
  }
}

export function notice(kind, title, lines, mild = false) {
  const place = document.getElementById("notice");
  place.replaceChildren();
  place.hidden = !title;
  place.classList.toggle("mild", mild);
  place.dataset.kind = kind;
  if (!title) return place;
  const head = document.createElement("h2");
  head.textContent = title;
  place.append(head, ...lines.map((line) => Object.assign(document.createElement("p"), { textContent: line })));
  return place;
}

/** Links to the same state in another set of units. */
export function unitLinks(address) {
  for (const link of document.querySelectorAll("[data-units]")) {
    link.search = address.other("units", link.dataset.units === "mill" ? "" : link.dataset.units).query;
  }
}

// -- leaving, and a server that is gone ----------------------------------------------------------------------------------

const OWN = ["set", "former", "press"];
const baseOf = (query) => { const held = new URLSearchParams(query); return held.get("file") ?? held.get("machine"); };
let unsaved = () => OWN.some((name) => new URLSearchParams(location.search).has(name));
let within = false;
addEventListener("beforeunload", (event) => { if (!within && unsaved()) event.preventDefault(); });
addEventListener("pageshow", () => { within = false; });
addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href]");
  if (!link || link.origin !== location.origin) return;
  within = !link.hasAttribute("download") && baseOf(link.search) === baseOf(location.search); // what it changes there can be undone
}, true);

/** Before the tab is left the browser asks, while `made()` says that something is not saved; false: it goes on within. */
export function guard(made) { unsaved = made; }
export function goOn(place) { within = true; location.assign(place); }

/** What can be scrolled sideways can be reached by the tab key. */
for (const box of document.querySelectorAll(".wide:not([tabindex])")) {
  if (box.scrollWidth <= box.clientWidth) continue;
  box.tabIndex = 0;
  box.setAttribute("role", "region");
  box.setAttribute("aria-label", box.querySelector("caption")?.textContent ?? say("state.wide"));
}

const HEARTBEAT = 2500;
let gone = 204;

/** Ask now and then whether the server lives; while it does not, what stands is marked as of before. */
async function beat() {
  if (document.hidden || (gone === 204 && performance.now() - heard < HEARTBEAT)) return; // an answer is a sign of life
  let status = 0;
  try {
    ({ status } = await fetch("/alive", { signal: AbortSignal.timeout(4000), cache: "no-store" }));
  } catch (error) { if (error.name !== "TypeError") return; } // slow is not gone
  const away = status === 0 || status === 403;
  if (status === gone) return;
  gone = status;
  const reading = document.getElementById("numbers");
  if (reading) reading.dataset.gone = away ? "1" : "";
  const place = document.getElementById("notice");
  if (place && away) notice("away", say(status ? "state.closed_title" : "state.away_title"), [say(status ? "state.closed" : "state.away")]);
  else if (place?.dataset.kind === "away") notice("", "", []);
  if (!away) dispatchEvent(new Event("alive"));
}
setInterval(beat, HEARTBEAT);

export function pageLinks(query) {
  for (const link of document.querySelectorAll("[data-page-link]")) link.search = query;
}
