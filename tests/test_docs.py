"""The documentation builds without a warning, offline, and says of formulas, fields and commands what the code says."""

from __future__ import annotations

import re
import sys
import tomllib
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest

import thinstock
from thinstock.cli import COMMANDS

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "docs"))

from generator.build import QUESTIONS, build  # noqa: E402
from generator.plot import line, ticks  # noqa: E402
from generator.prose import Prose  # noqa: E402
from generator.reference import apart, captions  # noqa: E402
from generator.site import Page, Site  # noqa: E402


@pytest.fixture(scope="module")
def site(tmp_path_factory: Any) -> tuple[Path, list[str]]:
    folder = tmp_path_factory.mktemp("site")
    count, warnings = build(folder)
    assert count > 500
    return folder, warnings


def read(folder: Path, path: str) -> str:
    return (folder / path).read_text(encoding="utf-8")


# -------------------------------------------- the whole site


def test_it_builds_without_a_warning(site: tuple[Path, list[str]]) -> None:
    assert site[1] == []


def test_no_page_asks_for_anything_outside(site: tuple[Path, list[str]]) -> None:
    for path in site[0].rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"(?:src|href)=\"(?:[a-z]+:)?//", text), path
        assert "<script" not in text and "@import" not in text and "url(" not in text, path
    assert "url(" not in read(site[0], "style.css") and "@import" not in read(site[0], "style.css")


def test_no_page_tells_of_the_place_it_was_made(site: tuple[Path, list[str]]) -> None:
    for path in site[0].rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert str(ROOT) not in text and str(site[0]) not in text and "Traceback" not in text, path


def test_the_first_page_asks_all_questions(site: tuple[Path, list[str]]) -> None:
    first = read(site[0], "index.html")
    assert len(QUESTIONS) == 10 and all(question in first for question in QUESTIONS)


def test_there_are_pages_to_learn_to_do_to_look_up_and_to_know_why(site: tuple[Path, list[str]]) -> None:
    names = {
        section: {p.stem for p in (site[0] / section).glob("*.html")} for section in ("learn", "do", "look-up", "why")
    }
    assert len(names["learn"]) == 5 and len(names["do"]) >= 10 and len(names["why"]) >= 6
    assert {"formulas", "machine-file", "commands", "words", "sources", "library", "cautions"} <= names["look-up"]


def test_every_committed_picture_is_made_by_the_script_and_shown_somewhere() -> None:
    from generator.pictures import HERE, PICTURES

    told = [ROOT / "README.md", *(ROOT / "docs" / "content").rglob("*.md")]
    shown = {name for page in told for name in re.findall(r"docs/pictures/([\w-]+)\.png", page.read_text("utf-8"))}
    kept = {path.stem for path in HERE.iterdir()}
    assert kept == set(PICTURES) == shown


# -------------------------------------------- reference


def test_every_formula_has_a_page_with_its_source_and_checks(site: tuple[Path, list[str]]) -> None:
    listed = read(site[0], "look-up/formulas.html")
    for name, label in thinstock.formulas().items():
        page = read(site[0], f"look-up/formulas/{name}.html")
        assert f'href="formulas/{name}.html"' in listed or f'href="../look-up/formulas/{name}.html"' in listed, name
        assert "Source and status" in page and "Held against" in page and f"“{label.status}” means" in page
        for piece in re.findall(r"<math.*?</math>", page, re.S):
            ElementTree.fromstring(piece)


def test_printed_values_stand_beside_what_comes_out_here(site: tuple[Path, list[str]]) -> None:
    page = read(site[0], "look-up/formulas/nip.line_load_lever_frame.html")
    assert "23.29 kgf/cm" in page and "none, to the last digit" in page
    assert apart("23.29", 23.2949) == "none, to the last digit" and apart("23.29", 23.4) == "+0.47 %"
    assert apart("0.353658941e-2", 0.353658941e-2) == "none, to the last digit" and apart("2e-3", 1e-3) == "−50 %"


def test_most_formulas_show_their_course(site: tuple[Path, list[str]]) -> None:
    drawn = list((site[0] / "pictures" / "formulas").glob("*.svg"))
    plain = [label for label in thinstock.formulas().values() if label.kind == "formula"]
    assert len(drawn) > 0.6 * len(plain)
    ElementTree.fromstring((site[0] / "pictures/formulas/jet.flow_per_width.svg").read_text(encoding="utf-8"))


def test_every_section_of_a_machine_file_is_in_its_reference(site: tuple[Path, list[str]]) -> None:
    from thinstock.case.shapes import shapes
    from thinstock.machine.line import Machine

    page = read(site[0], "look-up/machine-file.html")
    for name, shape in shapes(Machine).items():
        assert f"<code>{name}</code>" in page
        for kind in shape.kinds.values():
            for field in shapes(kind):
                assert f"<code>{field}</code>" in page, (name, field)


def test_every_command_is_in_its_reference_with_its_options(site: tuple[Path, list[str]]) -> None:
    from html import escape

    page = read(site[0], "look-up/commands.html")
    for name, said in COMMANDS.items():
        assert f'id="{name}"' in page and escape(said) in page
    assert "--so-that" in page and "--seed" in page


def test_every_published_file_is_solved_again(site: tuple[Path, list[str]]) -> None:
    for path in (ROOT / "tests" / "published").glob("*.toml"):
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        problems = [part for part in (*told.get("check", ()), *told.get("table", ())) if "relation" in part]
        if problems:
            page = read(site[0], f"gallery/{path.stem.replace('_', '-')}.html")
            assert page.count(">in print<") == len(problems)


def test_all_cautions_are_printed(site: tuple[Path, list[str]]) -> None:
    from html import escape

    from thinstock.words.cautions import all_cautions

    page = read(site[0], "look-up/cautions.html")
    assert all(escape(text) in page for part in all_cautions().values() for text in part.texts)


# -------------------------------------------- the generator warns


def test_what_does_not_fit_is_a_warning() -> None:
    made = Site()
    made.add(Page("do/a.html", "A", '<h2 id="x">x</h2><a href="page:do/none">n</a><a href="formula:jet.none">n</a>'))
    made.add(
        Page("do/a.html", "A", '<h4>low</h4><img src="file:none.svg"><a href="#no">z</a><a href="https://x.org">w</a>')
    )
    made.finish()
    said = "\n".join(made.warnings)
    for wanted in ("two pages", "none.svg", "headings jump", "no words", "nothing is called no", "points outside"):
        assert wanted in said, wanted
    other = Site()
    other.add(Page("do/a.html", "A", '<a href="page:do/none">n</a><a href="formula:jet.none">n</a>'))
    other.finish()
    assert sum("links to" in w and "is not there" in w for w in other.warnings) == 2


def test_a_command_or_a_number_that_fails_in_the_prose_is_a_warning(tmp_path: Path) -> None:
    for text in (
        '# T\n\ns\n\n{{ run("thinstock run no-such-machine") }}\n',
        '# T\n\ns\n\n{{ value("facial-roll", "no_such_number") }}\n',
        "# T\n\ns\n\n{% filter python %}raise ValueError(1){% endfilter %}\n",
        "No title\n\ns\n",
    ):
        made = Site()
        page = tmp_path / "1-x.md"
        page.write_text(text, encoding="utf-8")
        Prose(made).page(page, "do")
        assert len(made.warnings) == 1, text


def test_captions_and_plots() -> None:
    found = captions(thinstock.formula("jet.flow_per_width"))
    assert any(c.startswith("Picture:") for c in found)
    assert ticks(0.0, 10.0) == [0, 2, 4, 6, 8, 10] and ticks(1.0, 1.0) == [1.0]
    ElementTree.fromstring(line([0, 1, 2], [5, 5, 5], "x", "y & z", (0.5, 1.5)))
