"""What one feels of the page, in a real browser: moves of a slider, limits behind them, first visits, the sheet.

Every key stroke moves the slider of the headbox consistency by one step; the clock starts in the page before the
event and stops behind the first frame painted with the new numbers. Prints median and 90th percentile. Run:
python benchmarks/page.py. `told` gives the same as a record, for the benchmark that compares two checkouts.
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

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


PAGES = ("machine", "sheet", "formers", "options", "survey", "study", "class")
LAST_MOVE = """(where) => new Promise((done) => {
  const slider = document.querySelector(`[data-address='${where}'] [data-slider]`);
  const limits = document.getElementById('p-limits');
  for (let i = 0; i < 3; i++) { slider.stepDown(1); slider.dispatchEvent(new Event('input', { bubbles: true })); }
  const begun = performance.now();
  const look = () => (limits.classList.contains('follows') ? (window.seen_ = true) : 0)
    || !window.seen_ ? requestAnimationFrame(look) : done(performance.now() - begun);
  window.seen_ = false;
  look();
})"""


def visits(browser: Any, opening: str, pages: tuple[str, ...] = PAGES) -> dict[str, dict[str, float]]:
    """Each page in a tab that has nothing yet: requests, bytes on the wire, first paint, ready."""
    found = {}
    for name in pages:
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        page = context.new_page()
        wire = context.new_cdp_session(page)
        wire.send("Network.enable")
        sizes: list[float] = []
        inside: set[str] = set()
        """Pictures that the tab made of an answer: nothing of them is asked for."""

        def asked(told: dict[str, Any], inside: set[str] = inside) -> None:
            if not told["request"]["url"].startswith("http"):
                inside.add(told["requestId"])

        def came(told: dict[str, Any], sizes: list[float] = sizes, inside: set[str] = inside) -> None:
            if told["requestId"] not in inside:
                sizes.append(told["encodedDataLength"])

        wire.on("Network.requestWillBeSent", asked)
        wire.on("Network.loadingFinished", came)
        begun = time.monotonic()
        page.goto(opening.replace("/machine?", f"/{name}?"))
        page.wait_for_selector("html[data-ready]")
        ready = time.monotonic() - begun
        if name == "sheet":
            page.wait_for_selector("#sheet-3:not([hidden])")
            page.wait_for_selector("#laying", state="hidden")
            ready = time.monotonic() - begun
        page.wait_for_timeout(1500)
        paint = page.evaluate("() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? NaN")
        found[name] = {"requests": len(sizes), "kB": sum(sizes) / 1e3, "first paint": paint / 1e3, "ready": ready}
        context.close()
    return found


def moves(page: Any) -> dict[str, list[float]]:
    """Milliseconds from a move of each of two sliders to the frame that shows it, in order of size."""
    found = {}
    for where in ("headbox.consistency", "yankee.speed"):
        for _ in range(5):
            page.evaluate(MOVE, where)
        found[where] = sorted(page.evaluate(MOVE, where) for _ in range(MOVES))
    return found


@contextmanager
def opened(env: dict[str, str] | None = None) -> Iterator[tuple[Any, str]]:
    """A browser, and the address of a server of its own that is to be seen in it."""
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    command = [sys.executable, "-m", "thinstock", "open", "facial-roll", "--no-browser", "--workspace"]
    server = subprocess.Popen([*command, tempfile.mkdtemp()], stdout=subprocess.PIPE, text=True, env=env)
    try:
        assert server.stdout is not None
        address = next(line.strip() for line in iter(server.stdout.readline, "") if "http://" in line)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=chromium, args=ARGUMENTS)
            yield browser, address
            browser.close()
    finally:
        server.kill()
        server.wait()


def first_look(browser: Any, address: str) -> Any:
    """The machine page with all it draws at first."""
    page = browser.new_page(viewport={"width": 1366, "height": 900})
    page.goto(address)
    page.wait_for_selector("#chart-yankee svg")
    page.wait_for_timeout(5000)  # what starts behind the first page has started
    return page


def told(env: dict[str, str]) -> dict[str, float]:
    """The median move to paint, first paint of Formers and readiness of the sheet, s; `env` says which checkout."""
    with opened(env) as (browser, address):
        taken = moves(first_look(browser, address))
        seen = visits(browser, address, ("formers", "sheet"))
    return {
        **{f"move of {where} to paint": statistics.median(one) / 1e3 for where, one in taken.items()},
        "Formers, first paint": seen["formers"]["first paint"], "Sheet, ready": seen["sheet"]["ready"],
    }  # fmt: skip


def main() -> None:
    """Start a server and a browser, move the slider, look at every page, print."""
    with opened() as (browser, address):
        page = first_look(browser, address)
        for where, taken in moves(page).items():
            print(
                f"{where}: slider to repaint, {MOVES} moves, median {statistics.median(taken):.0f} ms, "
                f"90th percentile {taken[int(0.9 * MOVES)]:.0f} ms (to reach: 50 ms)"
            )
        taken = []
        for _ in range(10):
            page.wait_for_timeout(1500)  # what followed the move before is over
            taken.append(page.evaluate(LAST_MOVE, "yankee.speed"))
        print(f"limits stand {statistics.median(taken):.0f} ms behind the last move (to reach: 300 ms)")
        print("to reach: machine 600 kB, sheet 12 requests and 1.5 s, formers first paint 0.3 s")
        for name, one in visits(browser, address).items():
            print(f"{name:8s} {one['requests']:3d} requests {one['kB']:6.0f} kB  first paint "
                  f"{one['first paint']:5.2f} s  ready {one['ready']:5.2f} s")  # fmt: skip


if __name__ == "__main__":
    main()
