"""The survey page: tables taken, refused, reconciled, switched off and on, calibrated on, and the machine kept."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

from app_client import Client, plain
from thinstock.case import load
from thinstock.survey.form import form_workbook
from thinstock.survey.round import table_path

ROOT = "machine=facial-roll"
HEAD = "stream,quantity,value,unit,uncertainty,coverage_factor,method,group,note"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    made = Client(tmp_path)
    yield made
    made.close()
    assert made.reported == []


def taken(client: Client, text: str, name: str = "mine.csv") -> str:
    reply = client.post("/survey/take", {"query": ROOT, "name": name, "text": text})
    assert reply.status_code == 200, reply.text
    return str(reply.json()["query"])


def test_without_a_table_the_page_offers_an_empty_form(client: Client) -> None:
    page = client.get(f"/survey?{ROOT}").text
    assert "Rows without a value are left out" in page
    assert "end_of_forming,position" in page and "web_pressed" in page


def test_the_bundled_table_is_reconciled_and_its_planted_error_doubted(client: Client) -> None:
    page = client.get(f"/survey?{ROOT}&table=facial-roll").text
    words = plain(page)
    assert "THE READINGS DO NOT AGREE" in words and "jet flow doubtful" in words
    assert "Whom to doubt" in words and "What to read next time" in words
    assert page.count('data-off="') == 21


def test_a_doubtful_reading_is_switched_off_and_on_by_the_address(client: Client) -> None:
    off = client.get(f"/survey?{ROOT}&table=facial-roll&without=6").text
    assert "The readings agree within their stated uncertainties" in off
    assert 'data-on="6"' in off and 'data-off="6"' not in off
    assert "do not agree" not in plain(off).lower()


def test_a_typed_table_is_copied_into_the_workspace_and_opened(client: Client) -> None:
    text = table_path("facial-roll").read_text(encoding="utf-8")
    query = taken(client, text)
    assert (client.workspace.folder / "mine.csv").read_text(encoding="utf-8") == text
    assert "table=mine.csv" in query
    assert "THE READINGS DO NOT AGREE" in client.get(f"/survey?{query}").text
    assert taken(client, text) == query, "the same table is not kept twice"
    assert "mine+2.csv" in taken(client, text + "\n")


def test_a_workbook_is_taken_as_a_table(client: Client, tmp_path: Path) -> None:
    import xlsxwriter

    place = tmp_path / "book.xlsx"
    book = xlsxwriter.Workbook(str(place))
    sheet = book.add_worksheet("readings")
    sheet.write_row(0, 0, HEAD.split(","))
    rows = (("fan", 1490), ("jet", 1460), ("reject", 22))
    for i, (stream, value) in enumerate(rows, start=1):
        sheet.write_row(i, 0, [stream, "flow", value, "kg/s", "3 % of value", 1, "meter", "", ""])
    book.close()
    body = {"query": ROOT, "name": "round.xlsx", "workbook": base64.b64encode(place.read_bytes()).decode()}
    reply = client.post("/survey/take", body)
    assert reply.status_code == 200, reply.text
    assert reply.json()["name"] == "round.csv"
    assert "fan flow" in client.get(f"/survey?{reply.json()['query']}").text


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("jett,flow,1,kg/s,1,1,,,", "jet"),
        ("jet,flow,1,kg/s,,1,,,", "is empty"),
        ("jet,flow,=1+1,kg/s,1,1,,,", "begins with ="),
        ("jet,flow,-4,kg/s,1,1,,,", "negative flow"),
    ],
)
def test_a_table_that_cannot_be_is_refused_in_words_and_kept_nowhere(client: Client, row: str, said: str) -> None:
    reply = client.post("/survey/take", {"query": ROOT, "name": "bad.csv", "text": f"{HEAD}\n{row}\n"})
    assert reply.status_code == 422
    assert any(said in fault["text"].lower() for fault in reply.json()["faults"])
    assert list(client.workspace.folder.iterdir()) == []


def test_a_workbook_that_is_none_is_refused(client: Client) -> None:
    empty = base64.b64encode(form_workbook(load("facial-roll"))).decode()
    for content, code in (("!!!", 400), (base64.b64encode(b"PK nothing").decode(), 422), (empty, 422)):
        assert client.post("/survey/take", {"query": ROOT, "name": "x.xlsx", "workbook": content}).status_code == code


@pytest.mark.parametrize(
    "name", ["../secret.csv", "/etc/passwd", "none.csv", "facial-roll.toml", "a/b/c/d/e.csv", ".csv"]
)
def test_no_table_outside_the_workspace_is_read(client: Client, tmp_path: Path, name: str) -> None:
    (tmp_path.parent / "secret.csv").write_text(f"{HEAD}\nthick,flow,77123,kg/s,1,1,,,\n", encoding="utf-8")
    reply = client.get(f"/survey?{ROOT}&table={quote(name)}")
    assert reply.status_code == 200
    assert "77123" not in reply.text and "root:" not in reply.text
    assert 'id="verdict"' not in reply.text


def test_a_table_behind_a_link_is_not_read(client: Client, tmp_path: Path) -> None:
    place = tmp_path.parent / "elsewhere.csv"
    place.write_text(f"{HEAD}\nthick,flow,77123,kg/s,1,1,,,\n", encoding="utf-8")
    (tmp_path / "link.csv").symlink_to(place)
    assert "77123" not in client.get(f"/survey?{ROOT}&table=link.csv").text


def test_a_name_that_leads_out_of_the_workspace_is_only_a_name(client: Client) -> None:
    text = table_path("facial-roll").read_text(encoding="utf-8")
    reply = client.post("/survey/take", {"query": ROOT, "name": "../../up.csv", "text": text})
    assert reply.json()["name"] == "up.csv"
    assert (client.workspace.folder / "up.csv").is_file()


def test_words_of_a_table_are_escaped_on_the_page(client: Client) -> None:
    text = table_path("facial-roll").read_text(encoding="utf-8")
    text = text.replace("# survey: Invented round on facial-roll", "# survey: <img src=x onerror=alert(1)>")
    page = client.get(f"/survey?{taken(client, text)}").text
    assert "<img src=x" not in page and "&lt;img src=x" in page


def test_calibrating_shows_constants_and_keeps_the_machine(client: Client) -> None:
    query = f"{ROOT}&table=facial-roll&without=jet+flow&calibrate=1"
    page = plain(client.get(f"/survey?{query}").text)
    assert "drainage resistance factor" in page and "Not told by these readings" in page
    reply = client.post("/survey/keep", {"query": query})
    assert reply.status_code == 200, reply.text
    machine = load(client.workspace.folder / reply.json()["name"])
    assert machine.given["hood.hood_factor"].status == "measured"
    assert client.get(f"/machine?{reply.json()['query']}").status_code == 200
    assert client.get(f"/options?{reply.json()['query']}&other=machine%3Dfacial-roll").status_code == 200


def test_a_failed_survey_is_not_calibrated_on_by_the_page_either(client: Client) -> None:
    query = f"{ROOT}&table=facial-roll&calibrate=1"
    page = client.get(f"/survey?{query}").text
    assert "do not agree with each other" in page and 'id="keep"' not in page
    assert client.post("/survey/keep", {"query": query}).status_code == 422
    assert client.post("/survey/keep", {"query": ROOT}).status_code == 422


def test_pictures_and_forms_come_as_files(client: Client) -> None:
    for name in ("water", "adjustments"):
        reply = client.get(f"/survey/picture/{name}.svg?{ROOT}&table=facial-roll")
        assert reply.status_code == 200 and reply.headers["content-type"].startswith("image/svg")
    assert client.get(f"/survey/picture/nothing.svg?{ROOT}&table=facial-roll").status_code == 404
    assert client.get(f"/survey/picture/water.svg?{ROOT}").status_code == 404
    assert client.get(f"/survey/form/xlsx?{ROOT}").content.startswith(b"PK")
    assert HEAD in client.get(f"/survey/form/csv?{ROOT}").text
    assert client.get(f"/survey/form/pdf?{ROOT}").status_code == 404


def test_every_picture_has_words(client: Client) -> None:
    page = client.get(f"/survey?{ROOT}&table=facial-roll").text
    alts = re.findall(r'<img[^>]*alt="([^"]+)"', page)
    assert len(alts) == 2 and "white_water from silo to mixing" in alts[0] and "jet flow" in alts[1]
