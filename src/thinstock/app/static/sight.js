// What the page shows of the last answer: the mark of every piece, what of it is in sight, the drawing changed in place.

import { put } from "./page.js";

const reading = document.getElementById("numbers");
const picture = document.getElementById("p-drawing");
const LATER = ["drawing", "stations", "water", "energy", "furnish", "notes", "more", "circuits"];

/** The marks of the pieces that stand on the page: what the server need not send again. */
const marks = new Map(Object.entries(JSON.parse(reading.dataset.marks)));
const inSight = new Set();
const late = new Set();
let nodes = null;

export const shown = () => Object.fromEntries(marks);
export const sight = () => [...inSight];

/** Put what is new of an answer in its place; false where the drawing that changed is not the one that stands. */
export function take({ pieces, marks: now = {}, moved = null }) {
  for (const [name, html] of Object.entries(pieces)) {
    if (name === "drawing") { picture.innerHTML = html; nodes = null; } else put(`p-${name}`, html);
    if (now[name] === undefined) marks.delete(name);
  }
  const right = !moved || (moved.of === marks.get("drawing") && move(moved.changes));
  for (const [name, mark] of Object.entries(now)) {
    marks.set(name, mark);
    waits(name, false);
  }
  if (!right) marks.delete("drawing");
  return right;
}

/** Change elements of the drawing in place, by their number in it. */
function move(changes) {
  nodes ??= [...picture.querySelectorAll("*")];
  if (changes.some(([number]) => number >= nodes.length)) return false;
  for (const [number, attributes, text] of changes) {
    const node = nodes[number];
    for (const [name, value] of Object.entries(attributes)) {
      if (value === null) node.removeAttribute(name); else node.setAttribute(name, value);
    }
    if (text === null) continue;
    if (node.firstChild?.nodeType === Node.TEXT_NODE) node.firstChild.data = text; else node.prepend(text);
  }
  return true;
}

/** Pieces that a quick answer left out, being out of sight: they stand as of before until they come. */
export function waits(name, on) {
  if (on) late.add(name); else late.delete(name);
  document.getElementById(`p-${name}`)?.classList.toggle("waits", on);
}

export function leftOut(now) {
  for (const name of LATER) if (!(name in now)) waits(name, true);
}

/** Tell what is in sight from now on; `came()` when something that waits comes into sight. */
export function watch(charts, came) {
  const look = new IntersectionObserver((changes) => {
    let owed = false;
    for (const { target, isIntersecting } of changes) {
      const name = target.id.replace(/^p-/, "");
      if (isIntersecting) inSight.add(name); else inSight.delete(name);
      owed ||= isIntersecting && (late.has(name) || charts.waits(name));
    }
    if (owed) came();
  }, { rootMargin: "100px" });
  for (const name of LATER) {
    const place = document.getElementById(`p-${name}`);
    if (place) look.observe(place);
  }
  for (const place of document.querySelectorAll(".canvas[id]")) look.observe(place);
}
