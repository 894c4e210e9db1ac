// Draws the charts of the page from their specifications; a change only brings new data.

const place = document.getElementById("figures");
const views = new Map();
const narrow = matchMedia("(max-width: 40rem)");
const owed = new Map();
const seen = new Set();
let waiting = null;

/** Draw all charts; resolves when they stand. */
export async function draw() {
  if (!place) return;
  const { embed } = await import(place.dataset.charts);
  for (const figure of JSON.parse(place.textContent)) {
    const canvas = document.getElementById(`chart-${figure.name}`);
    if (!canvas) continue;
    const { $schema, ...spec } = { ...(narrow.matches ? figure.narrow : figure.spec), datasets: figure.data };
    // The words for the chart are the page's own and stand on the canvas; what is drawn inside is hidden from readers.
    const inside = document.createElement("div");
    inside.setAttribute("aria-hidden", "true");
    canvas.replaceChildren(inside);
    const { view } = await embed(inside, spec, {
      ast: true, actions: false, renderer: "svg", defaultStyle: false, tooltip: false, mode: "vega-lite", logLevel: 1,
    });
    views.set(figure.name, view);
    sight.observe(canvas);
  }
  if (waiting) fill(waiting);
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

function pay(name) {
  const tables = owed.get(name);
  if (!tables) return;
  owed.delete(name);
  const view = views.get(name);
  for (const [table, rows] of Object.entries(tables)) view.data(table, rows);
  view.run();
}

const sight = new IntersectionObserver((changes) => {
  for (const { target, isIntersecting } of changes) {
    const name = target.id.slice("chart-".length);
    if (isIntersecting) { seen.add(name); pay(name); } else seen.delete(name);
  }
}, { rootMargin: "100px" });
