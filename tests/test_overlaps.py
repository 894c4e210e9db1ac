"""No word of a drawing lies on another, on a line or out of the frame: all machines, formers and presses, three widths,
in the typeface that comes along and in the one that stands in for it."""

from __future__ import annotations

import base64
import json
import re
import shutil
from functools import lru_cache
from io import BytesIO

import pytest

import thinstock
from overlaps import counted, seen
from thinstock.drawing import elevation, typeface
from thinstock.drawing.elevation import NARROW
from thinstock.studies import exchange

WIDTHS = (1500, 900, 390)
"""Of a drawing on screens 1920, 1280 and 390 px wide."""
MACHINES = [m.name for m in thinstock.machines()]
CASES = [
    *MACHINES,
    *(f"facial-roll | former | {name}" for name in exchange.formers()),
    *(f"facial-flat-wire | press | {name}" for name in exchange.presses()),
]


@lru_cache(maxsize=64)
def result(case: str):
    name, *swap = case.split(" | ")
    machine = thinstock.load(name)
    if swap:
        machine = {"former": exchange.with_former, "press": exchange.with_press}[swap[0]](machine, swap[1]).machine
    return machine.run()


@pytest.mark.parametrize("case", CASES)
def test_no_words_on_words_on_lines_or_out_of_the_frame(case):
    for width in WIDTHS:
        ink = seen(elevation(result(case), width_px=width))
        for face in typeface.FACES:
            wrong = {what: which for what, which in counted(ink, face).items() if which}
            assert not wrong, (case, width, face, wrong)


@pytest.mark.parametrize("case", CASES)
def test_the_names_that_matter_have_room_on_a_wide_drawing_and_every_part_has_its_numeral_on_a_narrow_one(case):
    machine = result(case).machine
    wide = {words[0] for words in seen(elevation(result(case), width_px=WIDTHS[0])).words}
    assert {"headbox", "reel", *(nip.name for nip in machine.press.nip)} <= wide
    named = {e.name for e in machine.forming.element if "outline" not in e.WITHOUT}
    assert named & wide
    ink = seen(elevation(result(case), width_px=WIDTHS[2]))
    numerals = {w[0] for w in ink.words if w[0].isdigit() and not w[5]}
    listed = {w[0] for w in ink.words if w[0].isdigit() and w[5]}
    assert WIDTHS[2] < NARROW
    assert len(listed - numerals) <= 2, "a numeral for which there is no room stands in the key alone"


def test_the_count_finds_what_is_wrong():
    made = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100"><path d="M0 50L100 50" class="ts-wire"/>'
        '<text x="10" y="53" font-size="14" class="ts-text">felt</text>'
        '<text x="12" y="50" font-size="14" class="ts-text">wire</text>'
        '<text x="90" y="90" font-size="14" class="ts-text">headbox</text></svg>'
    )
    found = counted(seen(made), typeface.FAMILY)
    assert found["words on words"] == [("felt", "wire")]
    assert found["words on lines"] == ["felt", "wire"] or found["words on lines"] == ["felt"]
    assert found["out of the frame"] == ["headbox"]


def test_the_widths_at_hand_are_those_of_the_font_files():
    ttlib = pytest.importorskip("fontTools.ttLib")
    for cut in typeface.CUTS:
        made = typeface.file(cut)
        assert made is not None
        font = ttlib.TTFont(BytesIO(made))
        advance, at, unit = font["hmtx"], font.getBestCmap(), font["head"].unitsPerEm
        row = typeface._widths()[typeface.FAMILY][cut]
        for sign, width in row.items():
            assert width == pytest.approx(1000 * advance[at[ord(sign)]][0] / unit, abs=0.51), sign
        assert font["name"].names == [], "a cut of the font carries no reserved name"


def test_a_drawing_carries_its_typeface_and_a_page_has_it_at_an_address():
    alone, page = (elevation(result("facial-roll"), theme=theme) for theme in ("print", "page"))
    found = re.findall(r"url\(data:font/woff;base64,([^)]*)\)", alone)
    assert [base64.b64decode(one)[:4] for one in found] == [b"wOFF"] * len(typeface.CUTS)
    assert "url(/typeface/Regular.woff)" in page and "base64" not in page


@pytest.mark.slow
def test_words_as_a_browser_sets_them_are_as_wide_as_they_were_measured():
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        pytest.skip("no browser here")
    from playwright.sync_api import sync_playwright

    markup = "".join(elevation(result(name), width_px=1200) for name in ("facial-roll", "board-three-nips"))
    ask = """() => JSON.stringify([...document.querySelectorAll('svg text')].filter(t => !t.closest('.ts-tip')).map(t =>
        [t.textContent, t.getComputedTextLength(), +t.getAttribute('font-size'),
         t.classList.contains('ts-text-strong')]))"""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page()
        page.set_content(f"<body>{markup}</body>")
        page.evaluate("document.fonts.ready")
        told = json.loads(page.evaluate(ask))
        page.evaluate("document.querySelectorAll('svg style').forEach(s => s.textContent = s.textContent"
                      ".replace(/@font-face\\{[^}]*\\}/g, '').replaceAll(\"'Source Sans Pro',\", ''))")  # fmt: skip
        other = json.loads(page.evaluate(ask))
        browser.close()
    assert len(told) > 40
    for face, words in ((typeface.FAMILY, told), (typeface.FALLBACK, other)):
        for said, wide, size, strong in words:
            measured = typeface.width_in(face, said, size, strong=strong)
            assert wide == pytest.approx(measured, rel=0.06, abs=1.5), (face, said, "letters set closer")
            assert wide <= typeface.width_of(said, size, strong=strong) + 0.5, (face, said)
