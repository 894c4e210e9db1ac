"""Control characters of a foreign lesson, round of readings or machine are shown, wherever a lesson or a round goes."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from app_client import Client
from test_control_codes import CODE, SENT, TITLE, machine_file
from thinstock.cli import status
from thinstock.lesson.model import Lesson
from thinstock.lesson.read import read

QUOTED = json.dumps(TITLE)
LESSON = f"""format = 1
title = {QUOTED}
about = {QUOTED}
minutes = 5

[[scene]]
name = "one"
title = {QUOTED}
show = "light"
grades = ["board ply", "facial"]
say = {QUOTED}
notes = {QUOTED}
[scene.ask]
text = {QUOTED}
choices = [{QUOTED}, "nothing"]
right = 1

[[scene]]
name = "two"
title = "The machine"
show = "machine"
machine = "foreign"
say = "It is this one."
"""


@pytest.fixture
def lesson(tmp_path: Path) -> Path:
    machine_file(tmp_path)
    place = tmp_path / "own.lesson.toml"
    place.write_text(LESSON, encoding="utf-8")
    return place


def texts_of(found: Any) -> Iterator[str]:
    inside = found.items() if isinstance(found, dict) else enumerate(found) if isinstance(found, list) else ()
    for key, one in inside:
        yield str(key)
        yield from texts_of(one)
    if isinstance(found, str):
        yield found


def sent(page: str) -> list[str]:
    """What would steer, in a page as a browser has it: its texts, and those that its scripts put into it."""
    carried = [
        json.loads(one) for one in re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', page, re.S)
    ]
    carried += [json.loads(unescape(one)) for one in re.findall(r"data-cells='(.*?)'", page, re.S)]
    return [text for text in (page, unescape(page), *texts_of(carried)) if SENT.search(text)]


def made(lesson: Path) -> Lesson:
    return read(lesson.read_text(encoding="utf-8"))


def test_a_lesson_told_on_the_terminal(lesson: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["lesson", "check", str(lesson)]) == 0
    told = capsys.readouterr()
    assert not SENT.search(told.out + told.err)


def test_a_lesson_as_one_offline_file(lesson: Path, tmp_path: Path) -> None:
    assert status(["lesson", "export", str(lesson), "--out", str(tmp_path / "l.html")]) == 0
    page = (tmp_path / "l.html").read_text(encoding="utf-8")
    assert not sent(page) and "OWNED" in page


def test_a_lesson_as_slides(lesson: Path, tmp_path: Path) -> None:
    pytest.importorskip("pptx", reason="optional extra: thinstock[slides]")
    assert status(["lesson", "export", str(lesson), "--out", str(tmp_path / "l.pptx")]) == 0
    with zipfile.ZipFile(io.BytesIO((tmp_path / "l.pptx").read_bytes())) as packed:
        texts = [
            packed.read(n).decode("utf-8").replace("\r\n", "\n")
            for n in packed.namelist()
            if n.endswith((".xml", ".svg"))
        ]
    assert not any(SENT.search(text) or re.search("_x00[0-9A-F]{2}_", text) for text in texts)
    assert any("OWNED" in text for text in texts)


def test_a_lesson_on_paper(lesson: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    typst = pytest.importorskip("typst", reason="optional extra: thinstock[paper]")
    set_, typeset = {}, typst.compile_with_warnings
    monkeypatch.setattr(
        typst, "compile_with_warnings", lambda source, **how: (set_.update(source), typeset(source, **how))[1]
    )
    assert status(["lesson", "export", str(lesson), "--out", str(tmp_path / "l.pdf")]) == 0
    texts = [raw.decode("utf-8") for name, raw in set_.items() if name.endswith((".json", ".svg"))]
    assert texts and not any(SENT.search(t) or re.search(r"\\u00[0189]|\\u007f", t) for t in texts)
    assert any("OWNED" in text for text in texts)


def test_a_question_to_the_guests_of_a_class(lesson: Path) -> None:
    from thinstock.lesson.listener import _json

    asked = made(lesson).scenes[0].ask
    assert asked is not None
    _, _, content, _ = _json({"question": {"text": asked.text, "choices": list(asked.choices)}}, 200)
    question = json.loads(content)["question"]
    assert question == {"text": CODE, "choices": [CODE, "nothing"]}


def test_a_lesson_given_in_the_browser(lesson: Path, tmp_path: Path) -> None:
    client = Client(tmp_path)
    try:
        for path in ("/class?lesson=own.lesson.toml", "/stage?lesson=own.lesson.toml", "/lessons", "/class"):
            page = client.get(path)
            if page.status_code == 200:
                assert not sent(page.text), path
        assert client.reported == []
    finally:
        client.close()


def test_notes_of_a_round_of_readings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from importlib.resources import files

    source = Path(str(files("thinstock.library"))) / "surveys" / "facial-roll.csv"
    rows = source.read_text(encoding="utf-8").splitlines()
    first = next(i for i, row in enumerate(rows) if row.startswith("stream,")) + 1
    cells = rows[first].split(",")
    rows[first] = ",".join([*cells[:6], "ruler \x1b[2J\x07", cells[7], "\u202e turned \x9b31m"])
    place = tmp_path / "round.csv"
    place.write_text("\n".join(["# survey: \x1b]0;OWNED\x07", *rows[1:]]) + "\n", encoding="utf-8")
    report = tmp_path / "r.html"
    assert status(["survey", str(place), "--machine", "facial-roll", "--report", str(report)]) == 0
    told = capsys.readouterr()
    assert not SENT.search(told.out + told.err)
    page = report.read_text(encoding="utf-8")
    assert not sent(page)
    client = Client(tmp_path)
    try:
        kept = client.post("/survey/take", {"query": "machine=facial-roll", "name": "r.csv",
                                            "text": place.read_text(encoding="utf-8")})  # fmt: skip
        assert kept.status_code == 200, kept.text
        shown = client.get(f"/survey?{kept.json()['query']}")
        assert shown.status_code == 200 and not sent(shown.text) and "turned" in shown.text
    finally:
        client.close()
