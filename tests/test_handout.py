"""Handouts: every chapter on every kind of machine, with words for every picture and cautions beside their parts."""

from __future__ import annotations

import dataclasses
import itertools
import re
from functools import lru_cache
from typing import Any

import pytest

from thinstock import load
from thinstock.errors import Refused
from thinstock.tell import blocks, chapters, everyday, handout, paper, walk
from thinstock.tell.teller import Teller
from thinstock.words import units
from thinstock.words.cautions import all_cautions
from thinstock.words.phrase import phrases

MACHINES = ("facial-roll", "board-two-shoes", "facial-flat-wire", "tea-bag-inclined-wire")
HOSTILE = '<script>alert(1)</script> #panic("out") $x$ *bold* \\ & µ'


@lru_cache(maxsize=8)
def teller(machine: str, unit_set: Any = "mill") -> Teller:
    return Teller(load(machine), unit_set)


@lru_cache(maxsize=4)
def made(machine: str) -> tuple[blocks.Chapter, ...]:
    return handout.chapters(teller(machine), list(chapters.CHAPTERS))


@lru_cache(maxsize=1)
def wet() -> Teller:
    return Teller(load("facial-roll").with_({"stock.resistance_factor": 40.0}))


def of_kind(found: tuple[blocks.Chapter, ...], kind: str) -> list[Any]:
    inside = [b for c in found for b in c.blocks]
    inside += [f for b in inside if isinstance(b, blocks.Figures) for f in b.figures]
    return [b for b in inside if b.kind == kind]


def texts(found: tuple[blocks.Chapter, ...]) -> str:
    return "\n".join(b.text for b in of_kind(found, "words")).replace("\u00a0", " ")


# -------------------------------------------- chapters


@pytest.mark.parametrize("machine", MACHINES)
def test_every_chapter_can_be_made_for_every_kind_of_machine(machine: str) -> None:
    found = made(machine)
    assert [c.key for c in found] == list(chapters.CHAPTERS) and all(c.blocks and c.title for c in found)
    assert "nan" not in texts(found) and "None" not in texts(found) and "inf " not in texts(found)
    _, warnings = paper.compiled(
        "handout", handout.paper_data(teller(machine), found), title=machine, pictures=handout.files_of(found)
    )
    assert warnings == []


def test_the_furnish_is_a_chapter_of_its_own_only_where_it_is_asked_for() -> None:
    assert "furnish" not in [c.key for c in handout.chapters(teller("facial-roll"))]
    (found,) = handout.chapters(teller("facial-roll"), ["furnish"])
    assert [b.text for b in of_kind((found,), "head")] == [
        "What do 50 mL CSF cost?", "What can be switched off?", "What a point of dryness saves at the dryer",
        "What does a more even sheet save at the dryer?",
    ]  # fmt: skip
    assert len(of_kind((found,), "table")) == 6
    page = handout.page(teller("facial-roll"), (found,))
    for said in ("swollen volume", "fines only", "felt boxes", "Rewet:", "felt_exponent"):
        assert said in page
    (without,) = handout.chapters(wet(), ["furnish"])
    assert "nothing reaches the press" in texts((without,)) and "nothing to compare" in texts((without,))


def test_a_machine_that_forms_no_sheet_is_told_as_such() -> None:
    found = handout.chapters(wet())
    assert "It forms no sheet" in texts(found) and "there is no price" in texts(found)
    assert handout.page(wet(), found)
    paper.document("handout", handout.paper_data(wet(), found), title="wet", pictures=handout.files_of(found))


@pytest.mark.parametrize("machine", MACHINES)
def test_every_picture_has_words_that_stand_for_it(machine: str) -> None:
    found = made(machine)
    figures = of_kind(found, "figure")
    assert len(figures) >= 12
    assert all(len(f.alt) > 40 for f in figures)
    assert {f.name for f in figures} == {name for c in found for name in c.pictures}


def test_numbers_in_the_words_come_from_the_run() -> None:
    one, other = teller("facial-roll"), Teller(load("facial-roll").with_({"headbox.consistency": 0.0021}))
    for key in ("machine", "water", "price", "along"):
        ours, theirs = texts((chapters.CHAPTERS[key](one),)), texts((chapters.CHAPTERS[key](other),))
        assert ours != theirs, key
    said = texts((chapters.CHAPTERS["machine"](other),))
    assert other.value("flow_per_width").replace("\u00a0", " ") in said and "0.210 %" in said


def test_all_sets_of_units_are_served() -> None:
    found = handout.chapters(teller("facial-roll", "us"), ["machine", "along", "price", "limits"])
    said = texts(found)
    assert "ft/min" in said and "lb of water for each lb of fibre" in said and "m/min" not in said
    assert "m/s" in texts(handout.chapters(Teller(load("facial-roll"), "si"), ["machine"]))


# -------------------------------------------- cautions


def test_a_caution_stands_where_its_part_is_shown() -> None:
    parts = {b.part for b in of_kind((chapters.along(teller("facial-roll")),), "care")}
    assert parts >= {"circulation", "headbox", "forming", "vacuum", "felt", "press", "yankee", "hood", "drives"}
    for key, part in (("machine", "general"), ("sheet", "formation"), ("axes", "forming"), ("tension", "forming")):
        shown = {b.part for b in of_kind((chapters.CHAPTERS[key](teller("facial-roll")),), "care")}
        assert part in shown, key


def test_cautions_are_printed_word_for_word() -> None:
    found = chapters.CHAPTERS["cautions"](teller("facial-roll"))
    for block in of_kind((found,), "care"):
        assert tuple(block.texts) == all_cautions()[block.part].texts
    page = handout.page(teller("facial-roll"), (found,))
    assert "A Yankee is a pressure vessel." in page


def test_a_machine_without_a_yankee_is_not_warned_of_one() -> None:
    parts = {b.part for b in of_kind((chapters.CHAPTERS["cautions"](teller("board-two-shoes")),), "care")}
    assert "press" in parts and not parts & {"yankee", "hood"}


def test_nothing_computed_speaks_of_an_allowable_load_or_pressure() -> None:
    said = texts(made("facial-roll")).lower()
    assert "allowable" not in said and "permissible" not in said


# -------------------------------------------- everyday things


def test_comparisons_with_everyday_things_follow_from_the_run() -> None:
    told = " ".join(everyday.flow(teller("facial-roll"))).replace("\u00a0", " ")
    result = teller("facial-roll").result
    tubs = float(re.search(r"(\d+) bathtubs", told)[1])  # type: ignore[index]
    assert tubs == pytest.approx(60 * float(result["headbox_flow"]) / 0.150, rel=0.05)
    litres = float(re.search(r"([\d.]+) litres of stock", told)[1])  # type: ignore[index]
    fibre = 2 * 0.2**2 * 15.5e-3 * 0.95
    assert litres == pytest.approx(fibre / float(result["retention"]) / 0.0019, rel=0.02)


def test_forming_time_is_distance_over_speed() -> None:
    found = walk.forming_time(teller("facial-roll"))
    result = teller("facial-roll").result
    assert found == pytest.approx(float(result["end_of_forming_wrap"]) * 0.75 / float(result["speed"]))


# -------------------------------------------- the walk


def test_the_walk_goes_from_stock_to_reel_and_up_the_ladder() -> None:
    stops = walk.walk(teller("facial-roll"))
    assert [s.key for s in stops] == [
        "stock", "headbox", "former", "vacuum", "press", "yankee", "reel", "loop",
    ]  # fmt: skip
    assert [s.key for s in walk.walk(teller("board-two-shoes"))][-3:] == ["dryer", "reel", "loop"]
    assert [s.key for s in walk.walk(wet())] == ["stock", "headbox", "former"]
    rungs = walk.rungs(teller("facial-roll"))
    assert {"flat_wire", "inclined_wire", "wire_felt_c"} <= {s.key for s in rungs} and len(rungs) == 9
    assert all("no source" in " ".join(s.sentences) for s in rungs)


def test_every_stop_explains_numbers_that_have_a_working() -> None:
    from thinstock.tell.worked import names_of

    known = set(names_of(teller("facial-roll").result))
    for stop in walk.walk(teller("facial-roll")):
        assert set(stop.explains) <= known, stop.key


# -------------------------------------------- page and paper


def hostile() -> Teller:
    return Teller(dataclasses.replace(load("facial-roll"), title=HOSTILE, note=HOSTILE, scenario=HOSTILE))


def test_text_of_a_machine_file_is_text_on_page_and_paper() -> None:
    who = hostile()
    found = handout.chapters(who, ["machine"])
    page = handout.page(who, found)
    assert "<script>" not in page and "&lt;script&gt;" in page
    assert "<script>" not in next(c.pictures["elevation.svg"].content.decode() for c in found)
    paper.document("handout", handout.paper_data(who, found), title=HOSTILE, pictures=handout.files_of(found))


def test_a_page_carries_all_it_needs_and_its_pictures_are_described() -> None:
    page = handout.page(teller("facial-roll"), made("facial-roll"))
    assert re.findall(r"(?:src|href)=\"(?!data:|#)[^\"]+\"", page) == []
    assert "<script" not in page and "url(" not in page and "@import" not in page
    assert all(re.search(r'alt="[^"]+"', tag) for tag in re.findall(r"<img[^>]*>", page))
    levels = [int(n) for n in re.findall(r"<h(\d)", page)]
    assert levels[0] == 1 and all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_the_paper_is_a_tagged_document_and_the_same_every_time() -> None:
    machine = load("facial-roll")
    first = handout.handout(machine, "pdf", ["machine", "limits"], paper="letter")
    assert isinstance(first, bytes) and b"pdfuaid" in first and b"/Lang" in first
    assert handout.handout(machine, "pdf", ["machine", "limits"], paper="letter") == first


@pytest.mark.parametrize("machine", ["facial-roll", "facial-suction-breast-roll", "board-three-nips"])
def test_a_handout_of_the_usual_chapters_has_eight_pages_at_most(machine: str) -> None:
    made = handout.handout(load(machine))
    assert isinstance(made, bytes)
    assert 5 < len(re.findall(rb"/Type\s*/Page\b", made)) <= 8


def test_the_chart_of_limits_on_paper_shows_what_has_a_speed_and_the_table_the_rest() -> None:
    (found,) = handout.chapters(teller("facial-roll"), ["limits"])
    (listed,) = of_kind((found,), "table")
    (drawn,) = of_kind((found,), "figure")
    names = {str(row[0]) for row in listed.texts}
    assert any("slice" in name for name in names) and "slice" not in drawn.alt


def test_unknown_chapters_forms_and_papers_are_refused_with_what_there_is() -> None:
    machine = load("facial-roll")
    with pytest.raises(Refused, match="machine, water, along, price") as refused:
        handout.handout(machine, "pdf", ["watr", "nothing"])
    assert len(refused.value.faults) == 2 and "Nearest: water" in str(refused.value)
    with pytest.raises(Refused, match="pdf, html"):
        handout.handout(machine, "slides")
    with pytest.raises(Refused, match="a4, letter"):
        handout.handout(machine, "pdf", ["tension"], paper="a5")


def test_the_command_writes_what_the_file_name_asks_for(tmp_path: Any, capsys: Any) -> None:
    from thinstock.cli import status

    page, sheet = tmp_path / "a.html", tmp_path / "a.pdf"
    assert status(["handout", "facial-roll", "--with", "tension,glossary", "--out", str(page)]) == 0
    assert "Tension and centrifugal force" in page.read_text(encoding="utf-8")
    assert status(["handout", "facial-roll", "--with", "tension", "--units", "us", "--out", str(sheet)]) == 0
    assert sheet.read_bytes().startswith(b"%PDF")
    capsys.readouterr()
    assert status(["handout", "facial-roll", "--list"]) == 0
    assert "the price of a kilogram of water" in capsys.readouterr().out
    assert status(["handout", "facial-roll", "--with", "weather"]) == 1
    assert "weather" in capsys.readouterr().err


def test_every_chapter_says_what_it_is_about() -> None:
    assert set(phrases("en", "handout")) >= {f"about.{key}" for key in chapters.CHAPTERS}
    assert set(units.UNIT_SETS) == {"si", "mill", "us"}
