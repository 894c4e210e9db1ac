// Long work of a page: started, followed with its progress and the time left, stopped. What it gave is shown elsewhere.

import { say, send } from "./page.js";

function time(seconds) {
  return seconds < 90 ? say("study_live.seconds", { count: Math.max(1, Math.round(seconds)) }) : say("study_live.minutes", { count: Math.round(seconds / 60) });
}

/** Follow a job in its strip (progress, words, a button that stops it) until it is over; gives how it ended. */
export async function follow(job, strip) {
  const [bar, words, stop] = ["progress", "[data-said]", "[data-stop]"].map((name) => strip.querySelector(name));
  const began = performance.now();
  let seen = -1;
  let from = null;
  strip.hidden = false;
  bar.removeAttribute("value");
  words.textContent = say("study_live.working");
  stop.disabled = false;
  stop.onclick = () => { stop.disabled = true; send(`/jobs/${job}/stop`, {}); };
  try {
    for (;;) {
      const { ok, status, told } = await send(`/jobs/${job}?seen=${seen}`);
      if (!ok) {
        if (status === 404 || status === 403) return { state: "lost" };
        await new Promise((done) => { setTimeout(done, 1500); });
        continue;
      }
      seen = told.seen;
      if (told.share > 0) {
        bar.value = told.share;
        const gone = (performance.now() - began) / 1000;
        if (told.share >= 0.02) from ??= { gone, share: told.share };
        const left = from && told.share > from.share && gone - from.gone > 2 ? ((gone - from.gone) / (told.share - from.share)) * (1 - told.share) : 0;
        words.textContent = [told.said || say("study_live.working"), left > 0 ? say("study_live.left", { time: time(left) }) : ""].filter(Boolean).join(", ");
      }
      if (["done", "refused", "failed", "stopped"].includes(told.state)) return told;
    }
  } finally { strip.hidden = true; }
}
