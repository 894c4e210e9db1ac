"""`scripts/pictures [NAME ...]`: the pictures of README and documentation, made by the package and by a browser."""

from __future__ import annotations

import io
import shutil
import socket
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

from PIL import Image

ROOT = Path(__file__).resolve().parent.parent.parent
HERE = ROOT / "docs" / "pictures"
WIDTH, COLOURS = 1100, 64
PINHOLES = ("cigarette", "facial", "tea-bag type")


def _board_to_tea_bag() -> Any:
    from thinstock.sheet.seen import light_table

    return light_table()


def _pinholes() -> Any:
    from thinstock.sheet.seen import light_table

    return light_table(PINHOLES, size=25.2e-3, pixel=12e-6, across=560, seed=2, part=0.3, circled=True)


def _grades_diffuse() -> Any:
    from thinstock.sheet import gallery

    return gallery()


def _facial_sheet() -> Any:
    import thinstock
    from thinstock.sheet import panel, simulate
    from thinstock.studies import sheets

    made = sheets.subject_of(thinstock.load("facial-roll"))
    light = made.ends["base"].light._asdict()
    laid = simulate(made.furnish, made.grammage, 0.006, made.suspension_variation, 48e-3, 24e-6, 0.2, 1, **light)
    return panel(laid, title="Facial, headbox 0.6 %")


def _page(path: str, wait: str, size: tuple[int, int] = (1280, 1000), keys: tuple[str, ...] = ()) -> Any:
    """A page of the program on a screen of its own, when what it shows stands and some keys were pressed."""
    from playwright.sync_api import sync_playwright

    sys.path.insert(0, str(ROOT / "tests"))
    from app_client import Server

    with socket.socket() as taken, tempfile.TemporaryDirectory() as folder:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        taken.close()
        server = Server(Path(folder), port)
        try:
            server.warm()
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
                page = browser.new_page(viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
                page.goto(server.address)
                page.goto(urljoin(server.address, path))
                page.wait_for_function(wait, timeout=120_000)
                for key in keys:
                    page.keyboard.press(key)
                    page.wait_for_timeout(400)
                page.wait_for_timeout(1500)
                return Image.open(io.BytesIO(page.screenshot()))
        finally:
            server.stop()


READY = "document.documentElement.dataset.ready === '1'"
LAID = (
    READY
    + " && !document.getElementById('sheets').classList.contains('old')"
    + (" && document.getElementById('laying').hidden && !document.getElementById('sheet-0').hidden")
)
STAGE = "/lessons/stage?lesson=1-why-tissue-machines#{}"
PICTURES: dict[str, Callable[[], Any]] = {
    "board-to-tea-bag": _board_to_tea_bag,
    "pinholes": _pinholes,
    "grades-diffuse": _grades_diffuse,
    "facial-sheet": _facial_sheet,
    "page-machine": lambda: _page("/machine", READY),
    "stage-scene": lambda: _page(STAGE.format(5), READY, (1024, 768), ("ArrowRight", "ArrowRight", "r")),
    "stage-presses": lambda: _page(STAGE.format(12), READY, (1024, 768), ("ArrowRight", "ArrowRight")),
    "page-sheet": lambda: _page("/sheet", LAID),
}


def main(names: list[str]) -> int:
    """Makes those named, or all."""
    for name in names or PICTURES:
        made = PICTURES[name]().convert("RGB")
        down = made.resize((WIDTH, round(made.height * WIDTH / made.width)), Image.Resampling.LANCZOS)
        down.quantize(COLOURS, dither=Image.Dither.NONE).save(HERE / f"{name}.png", optimize=True)
        print(HERE / f"{name}.png")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
