"""Control characters of foreign texts are shown as their codes, on terminal, page and paper; none is sent."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest

from thinstock import draw, load, loads
from thinstock.case import dumps
from thinstock.cli import status
from thinstock.errors import Fault, Refused, visible

TITLE = "\x1b]0;OWNED\x07\x1b[2J\x9b31m left \u202e right\u2066 \x00 \x85 end"
SENT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
CODE = r"\x1b]0;OWNED\x07\x1b[2J\x9b31m left \u202e right\u2066 \x00 \x85 end"


def machine_file(folder: Path) -> Path:
    machine = dataclasses.replace(load("facial-roll"), title=TITLE, note=TITLE)
    place = folder / "foreign.toml"
    place.write_text(dumps(machine), encoding="utf-8")
    return place


def test_what_steers_is_shown_and_everything_else_is_left() -> None:
    assert visible(TITLE) == CODE
    for plain in ("a µ g/m² −1\u202f000\u00a0m\n\tb", "Füße, ниву, 紙", ""):
        assert visible(plain) == plain
    assert visible("a\nb", lines=False) == r"a\nb" and visible("\ud800") == r"\ud800"


@pytest.mark.parametrize("args", [("run",), ("check",), ("run", "--json"), ("limits",), ("explain", "flow_per_width")])
def test_a_title_sends_nothing_to_the_terminal(
    args: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = machine_file(tmp_path)
    assert status([args[0], str(place), *args[1:]]) == 0
    told = capsys.readouterr()
    assert not SENT.search(told.out) and not SENT.search(told.err)
    if args[0] != "limits":
        assert "OWNED" in told.out


def test_a_terminal_that_shows_bold_gets_our_codes_and_no_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys

    monkeypatch.setattr(type(sys.stdout), "isatty", lambda self: True, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert status(["run", str(machine_file(tmp_path))]) == 0
    told = capsys.readouterr().out
    assert r"\x1b]0;OWNED\x07" in told
    assert "\x1b[1m" in told and not SENT.search(re.sub("\x1b\\[[0-9;]*m", "", told))


def test_a_refusal_shows_a_raw_control_character_of_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "broken.toml"
    place.write_bytes(b'title = "a\x1b[2J\n\x1b]0;OWNED\x07 = \n')
    assert status(["check", str(place)]) == 1
    told = capsys.readouterr().err
    assert r"\x1b[2J" in told and not SENT.search(told)
    assert status(["check", f"{tmp_path}/\x1b[2J.toml"]) == 1
    assert not SENT.search(capsys.readouterr().err)
    assert status(["\x1b[2J"]) == 2
    assert not SENT.search(capsys.readouterr().err)


def test_a_fault_never_breaks_its_line() -> None:
    fault = Fault(field="a\nthinstock: all is well", value="\x1b[2J", bound="no", file="f\r")
    assert "\n" not in str(fault) and not SENT.search(str(fault))
    with pytest.raises(Refused) as refused:
        loads('title = "x"\n"\\u001b[2J" = 1\n')
    assert not SENT.search(str(refused.value))


@pytest.mark.slow
def test_pictures_tables_pages_and_papers_show_it(tmp_path: Path) -> None:
    from thinstock import explain, handout
    from thinstock.tell.export import tables

    machine = loads(machine_file(tmp_path).read_text(encoding="utf-8"))
    result = machine.run()
    assert not SENT.search(draw(result))
    assert not any(SENT.search(text) for text in tables(result).values())
    page = explain(result, "flow_per_width", "html")
    assert isinstance(page, str) and not SENT.search(page) and r"\x1b]0;OWNED" in page
    assert bytes(explain(result, "flow_per_width", "pdf"))[:5] == b"%PDF-"  # type: ignore[arg-type]
    leaves = handout(machine, "html", ["working"])
    assert isinstance(leaves, str) and not SENT.search(leaves) and r"\x1b]0;OWNED" in leaves


def test_the_live_page_shows_it(tmp_path: Path) -> None:
    from app_client import Client

    machine_file(tmp_path)
    client = Client(tmp_path)
    try:
        page = client.get("/machine?file=foreign.toml")
        assert page.status_code == 200 and not SENT.search(page.text) and r"\x1b]0;OWNED" in page.text
        answer = client.answer("file=foreign.toml")
        assert answer.status_code == 200 and not re.search(r"\\u00[01]|\\u007f", answer.text)
        assert not SENT.search(answer.text) and r"\\x1b]0;OWNED" in answer.text
    finally:
        client.close()


@pytest.mark.parametrize("body", ['{"query": "\\ud800"}', '{"query": "", "part": "\\uDFFF"}', '{"\\ud800": 1}'])
def test_half_a_letter_in_a_request_is_a_bad_request(body: str, tmp_path: Path) -> None:
    from app_client import ORIGIN, Client

    client = Client(tmp_path)
    try:
        headers = {"origin": ORIGIN, "content-type": "application/json"}
        for path in ("/machine/answer", "/files/drop", "/files/save", "/sheet/answer"):
            assert client.http.post(path, content=body, headers=headers).status_code == 400, path
        assert client.reported == []
    finally:
        client.close()
