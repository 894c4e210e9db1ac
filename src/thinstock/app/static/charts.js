// Draws the charts of the page from their specifications; a change only brings new data.

const place = document.getElementById("figures");
const views = new Map();
const figures = new Map();
const narrow = matchMedia("(max-width: 40rem)");
const owed = new Map();
const seen = new Set();
let waiting = null;

let embed = null;

/** Draw all charts; resolves when they stand. */
export async function draw() {
  if (!place) return;
  ({ embed } = await import(place.dataset.charts));
  for (const figure of JSON.parse(place.textContent)) {
    if (!document.getElementById(`chart-${figure.name}`)) continue;
    figures.set(figure.name, figure);
    await set(figure, figure.data);
    sight.observe(document.getElementById(`chart-${figure.name}`));
  }
  if (waiting) { fill(waiting); left(waiting); }
}

async function set(figure, datasets) {
  const turn = figure.turn = (figure.turn ?? 0) + 1;
  figure.order = orderOf(figure, datasets);
  const { $schema, ...spec } = { ...(narrow.matches ? figure.narrow : figure.spec), datasets };
  // The words for the chart are the page's own and stand on the canvas; what is drawn inside is hidden from readers.
  const inside = document.createElement("div");
  inside.setAttribute("aria-hidden", "true");
  document.getElementById(`chart-${figure.name}`).replaceChildren(inside); // a chart may take its width from its place
  const { view } = await embed(inside, spec, {
    ast: true, actions: false, renderer: "svg", defaultStyle: false, tooltip: false, mode: "vega-lite", logLevel: 1,
  });
  if (turn !== figure.turn) { view.finalize(); return; }
  views.get(figure.name)?.finalize();
  views.set(figure.name, view);
}

/** Names along an axis in their order: a chart keeps the order it was drawn with, so another one is drawn anew. */
function orderOf(figure, datasets) {
  figure.names ??= namesOf(figure.spec);
  return figure.names.map((name) => Object.values(datasets).map((rows) => [...new Set(rows.map((row) => row[name]))].join("\n")).join("\n\n")).join();
}

function namesOf(spec) {
  const names = new Set();
  JSON.stringify(spec, (key, value) => {
    if ((key === "x" || key === "y") && value?.type === "nominal" && value.field) names.add(value.field);
    return value;
  });
  return [...names];
}

/** New data: { chart: { name of data: rows } }. Charts out of sight follow when they come into sight, or when `all`. */
export function fill(charts, all = true) {
  if (!views.size) { waiting = charts; return; }
  for (const [name, tables] of Object.entries(charts)) {
    if (!views.has(name)) continue;
    owed.set(name, tables);
    if (all || seen.has(name)) pay(name);
  }
}

/** Charts that an answer left out, being out of sight, stand as of before until their data come. */
export function left(charts) {
  for (const name of views.keys()) if (!(name in charts)) { owed.delete(name); stale(name, true); }
}
function stale(name, on) { document.getElementById(`chart-${name}`).classList.toggle("waits", on); }

/** Whether the chart of this place waits for its data. */
export const owes = (id) => document.getElementById(id)?.classList.contains("waits") ?? false;

function pay(name) {
  const tables = owed.get(name);
  if (!tables) return;
  owed.delete(name);
  stale(name, false);
  const view = views.get(name);
  const figure = figures.get(name);
  if (orderOf(figure, tables) !== figure.order) { set(figure, tables); return; }
  for (const [table, rows] of Object.entries(tables)) view.data(table, rows);
  view.run();
}

const sight = new IntersectionObserver((changes) => {
  for (const { target, isIntersecting } of changes) {
    const name = target.id.slice("chart-".length);
    if (isIntersecting) { seen.add(name); pay(name); } else seen.delete(name);
  }
}, { rootMargin: "100px" });
