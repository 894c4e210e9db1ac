"""The survey page: tables taken, refused, reconciled, switched off and on, calibrated on, and the machine kept."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from app_client import Client, plain
from thinstock.case import load
from thinstock.evidence.apply import population
from thinstock.survey.form import form_rows, form_workbook
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


def told_of(page: str) -> Any:
    """What the page was told of its lines."""
    found = re.search(r'<script type="application/json" id="told">(.*?)</script>', page, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def shown(page: str) -> str:
    """The words a person sees."""
    return plain(re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL))


def lines_of(page: str) -> list[dict[str, Any]]:
    """The lines of a page as its script sends them."""
    rows = re.findall(r"<tr data-line=\"\d+\" data-cells='(.*?)'( data-aside)?", page)
    return [{"cells": json.loads(unescape(cells)), "aside": bool(aside)} for cells, aside in rows]


def body_of(client: Client, query: str, **more: Any) -> dict[str, Any]:
    """A request of the page as it stands at an address."""
    return {"query": query, "lines": lines_of(client.get(f"/survey?{query}").text), **more}


def test_without_a_table_the_page_offers_a_cell_for_every_reading(client: Client) -> None:
    page = client.get(f"/survey?{ROOT}").text
    default = [row for row in form_rows(load("facial-roll")) if row.default]
    assert "Nothing is filled in yet" in page and page.count('data-cell="value"') >= len(default)
    assert "end of forming" in page and "sheet out of the press, dryness" in page


def test_the_bundled_table_is_reconciled_and_its_planted_error_doubted(client: Client) -> None:
    page = client.get(f"/survey?{ROOT}&table=facial-roll").text
    told = told_of(page)
    assert "The readings do not agree." in plain(page) and "Set jet, flow aside" in plain(page)
    doubtful = [line["cells"][:2] for line, one in zip(lines_of(page), told["lines"], strict=True) if one["doubtful"]]
    assert doubtful == [["jet", "flow"]]
    assert told["culprits"] == [{"part": "headbox", "text": "jet, flow"}]


def test_every_reading_comes_back_in_the_unit_it_was_taken_in(client: Client) -> None:
    page = client.get(f"/survey?{ROOT}&table=facial-roll").text
    for line, one in zip(lines_of(page), told_of(page)["lines"], strict=True):
        if one["moved"] is not None and not one["doubtful"]:
            read, balanced = float(line["cells"][2]), float(one["balanced"].split("\u00a0")[0].replace("\u2212", "-"))
            assert balanced == pytest.approx(read, rel=0.12), line["cells"]


def test_no_code_name_stands_on_the_page(client: Client) -> None:
    page = shown(client.get(f"/survey?{ROOT}&table=facial-roll").text)
    assert not re.findall(r"\b[a-z]+_[a-z_]+\b|share:|--\w+", page)


def test_what_is_typed_is_balanced_as_it_stands(client: Client) -> None:
    body = body_of(client, f"{ROOT}&table=facial-roll")
    jet = next(line for line in body["lines"] if line["cells"][:2] == ["jet", "flow"])
    jet["cells"][2] = "5170,5"
    told = client.post("/survey/answer", body).json()
    assert "The readings agree." in told["pieces"]["verdict"] and told["faults"] == []
    jet["cells"][2] = "5,170"
    told = client.post("/survey/answer", body).json()
    (fault,) = told["faults"]
    assert body["lines"][fault["line"]] is jet and fault["column"] == "value"
    assert "Write 5.170 or 5170" in fault["text"]


def test_another_unit_keeps_the_reading(client: Client) -> None:
    body = body_of(client, f"{ROOT}&table=facial-roll")
    place = next(i for i, line in enumerate(body["lines"]) if line["cells"][:2] == ["thick", "flow"])
    turned = client.post("/survey/answer", {**body, "unit": {"line": place, "unit": "kg/s"}}).json()
    cells = turned["turned"]["cells"]
    assert cells[3] == "kg/s" and float(cells[2]) == pytest.approx(243.2 * 991.9 / 3600.0, rel=5e-3)
    again = client.post("/survey/answer", body).json()
    kept = [(one["number"], one["doubtful"], one["said"]) for one in again["lines"] if one["moved"] is not None]
    assert [
        (one["number"], one["doubtful"], one["said"]) for one in turned["lines"] if one["moved"] is not None
    ] == kept


def test_a_doubtful_reading_is_switched_off_and_on_by_the_address(client: Client) -> None:
    off = client.get(f"/survey?{ROOT}&table=facial-roll&without=6").text
    assert "The readings agree." in off and "jet, flow is set aside" in plain(off)
    assert [line["cells"][:2] for line in lines_of(off) if line["aside"]] == [["jet", "flow"]]
    assert "do not agree" not in shown(off)


@pytest.mark.parametrize("place", range(0, 28, 9))
def test_what_is_set_aside_on_the_page_is_set_aside_by_the_address_too(client: Client, place: int) -> None:
    body = body_of(client, f"{ROOT}&table=facial-roll")
    filled = [line for line in body["lines"] if line["cells"][2]]
    filled[place]["aside"] = True
    told = client.post("/survey/answer", body).json()
    without = "".join(f"&without={quote(name)}" for name in told["aside"])
    again = lines_of(client.get(f"/survey?{ROOT}&table=facial-roll{without}").text)
    assert [line["cells"][:2] for line in again if line["aside"]] == [filled[place]["cells"][:2]]


def test_a_table_is_saved_as_it_stands(client: Client) -> None:
    body = body_of(client, f"{ROOT}&table=facial-roll")
    reply = client.post("/survey/save", {**body, "name": "mine", "known": ""})
    assert reply.status_code == 200, reply.text
    page = client.get(f"/survey?{reply.json()['query']}").text
    assert told_of(page)["lines"] == told_of(client.get(f"/survey?{ROOT}&table=facial-roll").text)["lines"]
    assert client.post("/survey/save", {**body, "name": "mine", "known": ""}).status_code == 409


def test_a_typed_table_is_copied_into_the_workspace_and_opened(client: Client) -> None:
    text = table_path("facial-roll").read_text(encoding="utf-8")
    query = taken(client, text)
    assert (client.workspace.folder / "mine.csv").read_text(encoding="utf-8") == text
    assert "table=mine.csv" in query
    assert "The readings do not agree." in client.get(f"/survey?{query}").text
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
    assert "fan pump, flow" in client.get(f"/survey?{reply.json()['query']}").text


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
    assert 'id="verdict" ' not in reply.text


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


def over(client: Client, job: str) -> tuple[str, set[float]]:
    """How a job ended, and the shares it told on its way."""
    shares, seen = set(), -1
    for _ in range(600):
        told = client.get(f"/jobs/{job}?seen={seen}&wait=5.0").json()
        shares.add(told["share"])
        seen = told["seen"]
        if told["state"] not in ("waiting", "running"):
            return str(told["state"]), shares
    raise AssertionError("the job did not end")


@pytest.mark.slow
def test_calibrating_shows_constants_and_keeps_the_machine(client: Client) -> None:
    body = body_of(client, f"{ROOT}&table=facial-roll&without=jet+flow")
    job = client.post("/survey/calibrate", body).json()["job"]
    state, shares = over(client, job)
    assert state == "done" and len(shares) > 4, "it tells how far it is"
    words = plain(client.get(f"/survey/constants/{job}").json()["pieces"]["constants"])
    assert "drainage resistance factor" in words and "Not told by these readings" in words
    reply = client.post("/survey/keep", {"query": ROOT, "job": job})
    assert reply.status_code == 200, reply.text
    machine = load(client.workspace.folder / reply.json()["name"])
    assert machine.given["hood.hood_factor"].status == "measured"
    drawn = population(machine)
    assert (drawn.origin, drawn.draws) == ("as read", 1000)
    shown = client.get(f"/machine?{reply.json()['query']}")
    assert shown.status_code == 200, shown.text
    assert client.get(f"/options?{reply.json()['query']}&other=machine%3Dfacial-roll").status_code == 200


def test_a_failed_survey_is_not_calibrated_on_by_the_page_either(client: Client) -> None:
    body = body_of(client, f"{ROOT}&table=facial-roll")
    refused = client.post("/survey/calibrate", body)
    assert refused.status_code == 422
    said = refused.json()["faults"][0]["text"]
    assert "do not agree with each other" in said and "--" not in said
    assert client.post("/survey/calibrate", body_of(client, ROOT)).status_code == 422
    assert client.post("/survey/keep", {"query": ROOT, "job": "nobody-knows"}).status_code == 404


def test_a_calibration_under_way_can_be_stopped_and_leaves_nothing(client: Client) -> None:
    body = body_of(client, f"{ROOT}&table=facial-roll&without=jet+flow")
    job = client.post("/survey/calibrate", body).json()["job"]
    for _ in range(60):
        if client.get(f"/jobs/{job}?wait=1.0").json()["state"] == "running":
            break
    assert client.post(f"/jobs/{job}/stop", {}).json() == {"stopped": True}
    assert over(client, job)[0] == "stopped"
    assert client.get(f"/survey/constants/{job}").status_code == 404
    assert list(client.workspace.folder.glob("*surveyed*")) == []


def test_the_report_is_made_from_the_lines_as_they_stand(client: Client) -> None:
    import base64

    told = client.post("/survey/report", body_of(client, f"{ROOT}&table=facial-roll")).json()
    assert base64.b64decode(told["pdf"]).startswith(b"%PDF") and told["name"].endswith(".pdf")
    empty = client.post("/survey/report", body_of(client, ROOT))
    assert empty.status_code == 422 and "no balance to report on" in empty.text


def test_the_picture_and_forms_come_as_files(client: Client) -> None:
    reply = client.post("/survey/water", body_of(client, f"{ROOT}&table=facial-roll")).json()
    assert reply["svg"].startswith("<svg") and "silo" in reply["alt"]
    begins = {"svg": "PHN2Zy", "png": "iVBORw0KGgo", "csv": "77u/"}
    assert all(reply["files"][kind].startswith(begun) for kind, begun in begins.items()), "each in base64"
    assert client.post("/survey/water", body_of(client, ROOT)).status_code == 404
    assert client.get(f"/survey/form/xlsx?{ROOT}").content.startswith(b"PK")
    assert HEAD in client.get(f"/survey/form/csv?{ROOT}").text
    assert client.get(f"/survey/form/pdf?{ROOT}").status_code == 404


def test_what_to_read_next_comes_when_it_is_asked_for(client: Client) -> None:
    reply = client.post("/survey/next", body_of(client, f"{ROOT}&table=facial-roll")).json()
    assert "<li>" in reply["pieces"]["next"]


@pytest.mark.parametrize("lines", [None, "x", [{"cells": ["a"]}], [{"cells": [1] * 9}], [{}] * 501])
def test_lines_that_are_none_are_refused(client: Client, lines: Any) -> None:
    assert client.post("/survey/answer", {"query": ROOT, "lines": lines}).status_code == 400
