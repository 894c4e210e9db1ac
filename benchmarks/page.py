"""How long from a moved slider to the repainted page, in a real browser with the whole machine page.

Every key stroke moves the slider of the headbox consistency by one step; the clock starts in the page before the
event and stops behind the first frame painted with the new numbers. Prints median and 90th percentile. Run:
python benchmarks/page.py
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile

from playwright.sync_api import sync_playwright

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync"]  # fmt: skip
MOVES = 60
MOVE = """(where) => new Promise((done) => {
  const row = document.querySelector(`[data-address='${where}']`);
  const slider = row.querySelector('[data-slider]');
  const place = document.getElementById('p-fact-flow');
  const begun = performance.now();
  const watch = new MutationObserver(() => {
    watch.disconnect();
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun), 0));
  });
  watch.observe(place, { childList: true, subtree: true });
  slider.stepUp(window.up_ ? 1 : -1);
  if (slider.value === slider.max || slider.value === slider.min) window.up_ = !window.up_;
  slider.dispatchEvent(new Event('input', { bubbles: true }));
})"""


def main() -> None:
    """Start a server and a browser, move the slider, print."""
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    command = [
        sys.executable,
        "-m",
        "thinstock",
        "open",
        "facial-roll",
        "--no-browser",
        "--workspace",
        tempfile.mkdtemp(),
    ]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        address = next(line.strip() for line in iter(server.stdout.readline, "") if "http://" in line)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=chromium, args=ARGUMENTS)
            page = browser.new_page(viewport={"width": 1366, "height": 900})
            page.goto(address)
            page.wait_for_selector("#chart-yankee svg")
            for where in ("headbox.consistency", "yankee.speed"):
                for _ in range(5):
                    page.evaluate(MOVE, where)
                taken = sorted(page.evaluate(MOVE, where) for _ in range(MOVES))
                print(
                    f"{where}: slider to repaint, {MOVES} moves, median {statistics.median(taken):.0f} ms, "
                    f"90th percentile {taken[int(0.9 * MOVES)]:.0f} ms (to reach: 100 ms)"
                )
            browser.close()
    finally:
        server.kill()


if __name__ == "__main__":
    main()
