// The class in the room, as the stage shows it: the way to join, how many have answered, then the spread.
// Nothing a guest sent is shown but numbers and choices.

const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const made = (name, text, kind) => { const e = document.createElement(name); if (text !== undefined) e.textContent = text; if (kind) e.className = kind; return e; };

async function get(path, body) {
  try {
    const reply = await fetch(path, body && { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } });
    return reply.ok ? await reply.json() : null;
  } catch { return null; }
}

/** A dot strip: every answer a ring, the machine's own number a thick line, what counts as right hatched. */
export function strip(answers, told, wide = 900) {
  const svg = document.createElementNS(SVG, "svg"), top = 120;
  svg.setAttribute("viewBox", `0 0 ${wide} 170`);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", told.label ?? told.shown ?? "");
  const add = (name, rows) => { const e = document.createElementNS(SVG, name); Object.entries(rows).forEach(([k, v]) => e.setAttribute(k, v)); svg.append(e); return e; };
  const text = (x, y, words, bold) => { const e = add("text", { x, y, "font-size": 17, "text-anchor": "middle", fill: "currentColor" }); e.textContent = words; if (bold) e.setAttribute("font-weight", 600); };
  const all = told.amount === null || told.amount === undefined ? answers : [...answers, told.amount];
  const positive = all.every((v) => v > 0);
  const low = Math.min(...all), high = Math.max(...all);
  const logarithmic = positive && high / low > 8;
  const [a, b] = logarithmic ? [Math.log(low / 1.5), Math.log(high * 1.5)] : [low - 0.1 * (high - low || 1), high + 0.1 * (high - low || 1)];
  const at = (v) => 20 + (wide - 40) * ((logarithmic ? Math.log(v) : v) - a) / (b - a || 1);
  add("path", { d: `M20 ${top}H${wide - 20}`, stroke: "currentColor", "stroke-width": 1.5, fill: "none" });
  if (told.amount !== null && told.amount !== undefined) {
    const [x, y] = [at(told.amount * (1 - told.tolerance)), at(told.amount * (1 + told.tolerance))].sort((p, q) => p - q);
    for (let k = Math.max(x, 20); k < Math.min(y, wide - 20); k += 7) add("path", { d: `M${k} ${top}l24 -100`, stroke: "var(--water)", "stroke-width": 1, fill: "none" });
    add("path", { d: `M${at(told.amount)} 8V${top + 10}`, stroke: "currentColor", "stroke-width": 5, fill: "none" });
    text(at(told.amount), top + 34, told.shown, true);
  }
  const piles = new Map();
  for (const value of answers) {
    const x = Math.round(at(value) / 16) * 16, n = piles.get(x) ?? 0;
    piles.set(x, n + 1);
    add("circle", { cx: x, cy: top - 12 - Math.min(15 * n, 96), r: 7, fill: "none", stroke: "currentColor", "stroke-width": 2 });
  }
  const taken = told.amount === null || told.amount === undefined ? [] : [at(told.amount)];
  for (const end of answers.length ? [Math.min(...answers), Math.max(...answers)] : []) {
    if (taken.some((x) => Math.abs(x - at(end)) < 110)) continue;
    taken.push(at(end));
    text(at(end), top + 34, String(end));
  }
  return svg;
}

export async function begin({ told, say, state }) {
  let now = await get("/lessons/class");
  if (!now?.on) return;
  const panel = $("class");
  let place = -1, result = null, shut = false;

  function show() {
    const asks = told.scenes[state.index].asks !== "";
    panel.hidden = shut || (!asks && state.index !== 0);
    if (panel.hidden) return;
    const rows = [];
    if (!asks || (now.open && now.answers.length === 0)) {
      const joining = made("div", undefined, "joining"), picture = made("img"), words = made("div");
      picture.src = "/lessons/class/code.svg";
      picture.alt = now.url;
      words.append(made("p", say("join_at", { url: now.url })), made("p", `${now.code.slice(0, 3)} ${now.code.slice(3)}`, "code"), made("p", say("joined", { count: now.guests })), made("p", say("readable"), "aside"));
      joining.append(picture, words);
      rows.push(joining);
    }
    if (asks && result === null && now.guests) rows.push(made("p", say("guessed", { count: now.answers.length, all: Math.max(now.guests, now.answers.length) })));
    if (asks && result !== null && result.answers) {
      rows.push(made("p", say("within", { count: result.answers.length, right: result.right })));
      if (result.amount === null) rows.push(...[...$("choices").children].map((one, i) => made("p", `${one.textContent}: ${result.answers.filter((v) => v === i + 1).length}`)));
      else rows.push(strip(result.answers, result));
      if (result.amount !== null && result.middle !== null) rows.push(made("p", say("middle", { value: result.middle })));
      const keep = made("a", say("keep"));
      keep.href = "/lessons/class/answers.csv";
      rows.push(keep);
    }
    panel.replaceChildren(...rows);
  }

  async function look() {
    if (place !== state.index) {
      place = state.index;
      result = null;
      shut = false;
      await get("/lessons/class/ask", { query: told.query, index: state.index, share: state.share });
    }
    now = (await get("/lessons/class")) ?? now;
    show();
  }
  document.addEventListener("guesses", () => { shut = !shut; show(); });
  document.addEventListener("revealed", async ({ detail }) => {
    const found = await get("/lessons/class/reveal", { query: told.query, index: state.index, share: state.share });
    result = found && { ...found, shown: `${detail.text} ${detail.unit}` };
    show();
  });
  look();
  setInterval(look, 700);
}
