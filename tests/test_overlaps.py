"""No word of a drawing lies on another, on a line or out of the frame: all machines, formers and presses, three widths,
in the typeface that comes along and in the one that stands in for it."""

from __future__ import annotations

import base64
import json
import re
import shutil
import xml.etree.ElementTree as ET
from functools import lru_cache
from io import BytesIO

import numpy as np
import pytest

import thinstock
from app_client import opened_machine
from overlaps import SVG, counted, seen
from thinstock.app.formers_show import LARGE, SMALL, Formers
from thinstock.app.pages.formers import WIDTHS as FIELDS
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


@lru_cache(maxsize=4)
def formers(machine: str) -> Formers:
    return Formers(opened_machine(machine), supply=False)


def as_lit(markup: str, key: str) -> str:
    """A field as it is seen while one former is lit: the words of the others are hidden."""
    root = ET.fromstring(markup)
    for rung in root.iter(f"{SVG}g"):
        if rung.get("class") == "rung" and rung.get("data-key") != key:
            for hidden in [g for g in rung if g.get("class") == "when-lit"]:
                rung.remove(hidden)
    return ET.tostring(root, encoding="unicode")


SLOW = [pytest.param(name, marks=pytest.mark.slow) for name in ("facial-flat-wire", "tea-bag-inclined-wire")]


@pytest.mark.parametrize("machine", ["facial-roll", *SLOW])
def test_the_field_of_formers_has_no_words_on_words_on_lines_or_out_of_the_frame_whichever_is_lit(machine):
    made = formers(machine)
    for width in FIELDS.values():
        markup = made.field(width=width)
        for mark in made.marks:
            ink = seen(as_lit(markup, mark.key))
            for face in typeface.FACES:
                wrong = {what: which for what, which in counted(ink, face).items() if which}
                assert not wrong, (machine, width, mark.name, face, wrong)


def test_the_lit_former_says_what_its_lines_are_and_every_former_has_its_number_and_its_row():
    made = formers("facial-roll")
    markup = made.field(width=FIELDS["wide"])
    numbers = {n for w in seen(as_lit(markup, "")).words if w[5] for n in w[0].split(", ")}
    assert numbers == {str(mark.number) for mark in made.marks}
    for mark in made.marks:
        said = {word[0] for word in seen(as_lit(markup, mark.key)).words}
        assert mark.name in said and {"packed or not", "mat stays packed"} & said
        assert mark.first is None or mark.first[2] in said
        assert mark.era is None or "where practice ran it" in said


def test_the_small_and_large_drawings_of_formers_bear_no_words_and_stay_in_their_frames():
    made = formers("facial-roll")
    for rung in made.rungs:
        for markup in made.picture(rung, (SMALL, LARGE)):
            ink = seen(markup)
            assert ink.words == [] and len(ink.lines) > 10
            around = np.concatenate([rows.reshape(-1, 2) for rows in ink.lines])
            fabrics = sum((around < -0.5).any(axis=1)) + sum((around > (ink.width + 0.5, ink.height + 0.5)).any(axis=1))
            assert fabrics < 0.25 * len(around), "only a felt goes on beyond the picture"


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
