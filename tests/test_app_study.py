"""The study page: every study is started, kept in the workspace, opened again; what cannot be is refused in words."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import time
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from app_client import Client, Server, free_port, plain
from thinstock.app import study_work

CHROMIUM = next((p for p in map(shutil.which, ("chromium", "google-chrome", "chromium-browser")) if p), None)
QUERY = "machine=facial-roll"
ACROSS = {"x": "headbox.consistency", "x_low": "0.15", "x_high": "0.25", "x_count": "6"}
UP = {"y": "yankee.speed", "y_low": "1500", "y_high": "1900", "y_count": "5"}
RANGES = {**ACROSS, **UP, "result": "gas_per_product"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("workspace")


@pytest.fixture(scope="module")
def client(folder: Path) -> Iterator[Client]:
    made = Client(folder)
    yield made
    made.close()
    assert made.reported == []


def begin(client: Client, part: str, **fields: str) -> Any:
    return client.post("/study/start", {"query": QUERY, "part": part, "fields": fields})


def finished(client: Client, part: str, **fields: str) -> str:
    """The record a study ends in."""
    started = begin(client, part, **fields)
    assert started.status_code == 200, started.text
    return over(client, started.json()["job"])


def over(client: Client, job: str) -> str:
    seen, end = -1, time.monotonic() + 150
    while time.monotonic() < end:
        told = client.get(f"/jobs/{job}?seen={seen}").json()
        seen = told["seen"]
        if told["state"] in ("done", "refused", "failed", "stopped"):
            assert told["state"] == "done", told
            return str(client.get(f"/study/done/{job}").json()["kept"])
    raise AssertionError("the study did not end")


def page(client: Client, kept: str, query: str = QUERY) -> str:
    answer = client.get(f"/study?{query}&kept={quote(kept)}")
    assert answer.status_code == 200
    return str(answer.text)


def refused(answer: Any) -> dict[str, str]:
    assert answer.status_code == 422, answer.text
    return {row["field"]: row["text"] for row in answer.json()["faults"]}


def test_every_form_is_there_before_anything_is_worked_out(client: Client) -> None:
    for part in study_work.KINDS:
        answer = client.get(f"/study?{QUERY}&part={part}")
        assert answer.status_code == 200
        assert "Work it out" in answer.text
        assert f'data-part="{part}"' in answer.text


def test_how_sure_is_kept_and_is_stale_for_a_changed_machine(client: Client, folder: Path) -> None:
    kept = finished(client, "sure", draws="400", digits="1", seed="7")
    record = json.loads((folder / "studies" / f"{kept}.json").read_text(encoding="utf-8"))
    speed = next(row for row in record["found"]["rows"] if row["name"] == "speed")
    words = plain(page(client, kept))
    assert "400 draws" in words
    assert f"{60 * speed['value']:.4g}" in words
    assert "u from slopes" in words
    assert 'id="stale"' not in page(client, kept)
    assert 'id="stale"' in page(client, kept, f"{QUERY}&set=headbox.consistency%3D0.25+%25")
    assert list(folder.glob("studies/.*")) == [], "nothing half written stays behind"


def test_the_difference_of_a_machine_to_itself_is_nothing(client: Client, folder: Path) -> None:
    kept = finished(client, "sure", other=QUERY, draws="1000", digits="1", seed="1")
    rows = study_work.read(folder, kept)["found"]["rows"]
    assert {row["value"] for row in rows} == {0.0}
    assert {tuple(row["shortest"]) for row in rows} == {(0.0, 0.0)}


def test_what_matters_says_what_to_measure_first(client: Client) -> None:
    kept = finished(client, "matters", base="32", seed="1")
    html = page(client, kept)
    assert "easure" in plain(html)
    assert 'role="img" aria-label=' in html
    chart = client.get(f"/study/download/svg?kept={quote(kept)}&chart=tornado-flow_per_width")
    assert chart.status_code == 200
    assert chart.text.startswith("<svg")
    assert "var(" not in chart.text


def test_a_map_gives_every_case_as_csv_and_its_picture(client: Client) -> None:
    kept = finished(client, "map", **RANGES)
    table = client.get(f"/study/download/csv?{QUERY}&kept={quote(kept)}").content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(table)))
    assert len(rows) == 1 + 30
    assert [float(v) for v in rows[1][:2]] == [pytest.approx(0.15), pytest.approx(1500)]
    picture = client.get(f"/study/download/png?{QUERY}&kept={quote(kept)}&chart=map")
    assert picture.content.startswith(b"\x89PNG")
    assert re.search(r"% of the 30 cases run inside all limits", plain(page(client, kept)))


def test_a_sweep_that_lost_parts_goes_on_and_ends_the_same(client: Client, folder: Path) -> None:
    fields = {"v1": "headbox.consistency", "v1_low": "0.15", "v1_high": "0.25", "cases": "12000", "layout": "sobol",
              "seed": "3"}  # fmt: skip
    kept = finished(client, "sweep", **fields)
    place = folder / "studies" / kept
    parts = {p.name: p.read_bytes() for p in sorted(place.glob("*.parquet"))}
    assert len(parts) == 2
    assert "Of 12000 cases" in plain(page(client, kept))
    (place / "part-000001.parquet").unlink()
    assert 'id="resume"' in page(client, kept)
    started = client.post("/study/resume", {"kept": kept})
    assert over(client, started.json()["job"]) == kept
    assert {p.name: p.read_bytes() for p in sorted(place.glob("*.parquet"))} == parts
    assert 'id="resume"' not in page(client, kept)


def test_a_rebuild_shows_both_ways_with_ranges(client: Client) -> None:
    kept = finished(client, "rebuild", after="machine=facial-shoe", prices="example", draws="200", seed="1")
    words = plain(page(client, kept))
    for text in (
        "Same tonnes",
        "Or more speed",
        "payback",
        "rate of return",
        "present value",
        "is nothing",
        "invented",
    ):
        assert text in words


def test_what_cannot_be_is_refused_at_its_box(client: Client, folder: Path) -> None:
    before = study_work.names(folder)
    assert "draws" in refused(begin(client, "sure", draws="-5"))
    assert "base" in refused(begin(client, "matters", base="100"))
    assert "empty" in refused(begin(client, "map", **{**RANGES, "x_low": "0.3"}))["x"]
    assert "result" in refused(begin(client, "map", **{**RANGES, "result": "beauty"}))
    assert "y" in refused(begin(client, "map", **{**RANGES, "y": "headbox.consistency"}))
    assert "v1" in refused(begin(client, "sweep", v1="", cases="100"))
    assert {"after", "prices"} <= set(refused(begin(client, "rebuild", after="", prices="none.toml")))
    (folder / "bad.toml").write_text('format = 1\n[price]\ngas = "-3 money/MWh LHV"\n[rebuild]\n', encoding="utf-8")
    assert "prices" in refused(begin(client, "rebuild", after="machine=facial-shoe", prices="bad.toml"))
    assert study_work.names(folder) == before


def test_a_name_that_leads_outside_opens_nothing(client: Client, folder: Path) -> None:
    (folder.parent / "secret.json").write_text("{}", encoding="utf-8")
    answer = client.get("/study/download/json?kept=../../secret")
    assert answer.status_code == 422
    html = client.get(f"/study?{QUERY}&kept=../../secret").text
    assert 'id="study"' not in html
    assert "Not possible" in plain(html)
    (folder / "studies").mkdir(exist_ok=True)
    (folder / "studies" / "other.json").write_text('{"format": 1}', encoding="utf-8")
    assert "no result of a study" in client.get(f"/study?{QUERY}&kept=other").text
    (folder / "studies" / "other.json").unlink()


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this computer")
def test_a_person_maps_stops_a_sweep_and_goes_on(tmp_path: Path) -> None:
    playwright = pytest.importorskip("playwright.sync_api")
    server = Server(tmp_path, free_port())
    wrong: list[str] = []
    try:
        with playwright.sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
            tab = browser.new_page(viewport={"width": 1366, "height": 900})
            tab.set_default_timeout(20000)
            tab.on("pageerror", lambda error: wrong.append(str(error)))
            tab.on("console", lambda m: wrong.append(m.text) if m.type == "error" and "422" not in m.text else None)
            base = server.address.rpartition("/")[0]
            tab.goto(f"{base}/study?{QUERY}&part=map")
            tab.wait_for_selector("html[data-ready]")
            for name, text in (("x_count", "5"), ("y_count", "5"), ("x_low", "9")):
                tab.locator(f"[name={name}]").fill(text)
            tab.locator("#start").press("Enter")
            tab.wait_for_selector("[data-own=x] [data-fault]:not([hidden])")
            tab.locator("[name=x_low]").fill("0.15")
            tab.locator("#start").press("Enter")
            tab.wait_for_selector("#chart-map svg")
            assert "of the 25 cases" in tab.locator("#study").inner_text()
            tab.locator("[name=x_high]").fill("0.22")
            tab.locator("[name=x_high]").press("Tab")
            assert "old" in (tab.locator("#study").get_attribute("class") or "")
            tab.goto(f"http://127.0.0.1:{tab.url.split(':')[2].split('/')[0]}/study?{QUERY}&part=sweep")
            tab.wait_for_selector("html[data-ready]")
            tab.locator("#start").click()
            tab.wait_for_selector("#laying:not([hidden])")
            tab.locator("#stop").click()
            tab.wait_for_selector("#resume")
            assert "0 of 100 parts" in tab.locator("#study").inner_text()
            tab.locator("#resume").click()
            tab.wait_for_selector("#laying:not([hidden])")
            tab.locator("#stop").click()
            tab.wait_for_selector("#laying[hidden]", state="attached")
            browser.close()
    finally:
        server.stop()
    assert wrong == []


def test_a_rebuild_offers_only_machines_of_the_same_paper(client: Client) -> None:
    page = client.get("/study?machine=facial-roll&part=rebuild").text
    offered = set(re.findall(r'<option value="machine=([\w-]+)"', page))
    assert "facial-shoe" in offered and not offered & {
        "board-two-shoes",
        "newsprint-three-nips",
        "tea-bag-inclined-wire",
    }


def test_every_part_shows_an_example_where_nothing_is_worked_out_yet(client: Client) -> None:
    seen = set()
    for part in ("sure", "matters", "map", "sweep", "rebuild"):
        text = client.get(f"/study?machine=facial-roll&part={part}").text
        assert 'class="example"' in text and "invented" in text, part
        seen.add(text.partition('class="example"')[2].partition("</svg>")[0])
    assert len(seen) == 5, "each its own"
    assert 'class="example"' in client.get("/options?machine=facial-roll").text


def test_no_bar_of_how_sure_runs_out_of_its_frame_without_saying_how_far() -> None:
    from thinstock.app.study_show import FARTHEST, _reach

    inside = [{"low": -12.0, "high": 37.0, "slopes low": -20.0, "slopes high": 20.0}]
    assert _reach(inside) == 40.0 and inside[0]["over"] == inside[0]["under"] == ""
    beyond = [{"low": -12.0, "high": 630.0, "slopes low": -99.0, "slopes high": 99.0}]
    assert _reach([*inside, *beyond]) == FARTHEST
    assert "630" in beyond[0]["over"] and beyond[0]["under"] == ""


def test_work_that_is_watched_tells_every_part_and_finds_the_same() -> None:
    import numpy as np

    import thinstock
    from thinstock.evidence.cases import run_cases, watched

    machine, speeds = thinstock.load("facial-roll"), {"yankee.speed": np.linspace(20.0, 30.0, 250)}
    heard: list[int] = []
    with watched(heard.append):
        seen = run_cases(machine, speeds, ("dryness_press",))
    alone = run_cases(machine, speeds, ("dryness_press",))
    assert sum(heard) == 250 and len(heard) > 1
    assert np.array_equal(seen["dryness_press"], alone["dryness_press"])


def test_every_chart_of_a_study_goes_along_as_a_file(client: Client, folder: Path) -> None:
    names = study_work.names(folder) or [finished(client, "map", **RANGES)]
    asked = set()
    for kept in names:
        html = unescape(page(client, kept))
        charts = re.findall(r'id="chart-([^"]+)"', html)
        for chart in charts:
            for kind, begins in (("svg", b"<svg"), ("csv", b"\xef\xbb\xbf")):
                place = f"/study/download/{kind}?{QUERY}&kept={quote(kept)}&chart={chart}"
                assert place in html, (kept, chart, kind)
                answer = client.get(place)
                assert answer.status_code == 200 and answer.content.lstrip().startswith(begins), place
                asked.add(kind)
        assert html.count(">PNG</a>") >= len(charts)
    assert asked == {"svg", "csv"}
    assert client.get(f"/study/download/csv?{QUERY}&kept={quote(names[0])}&chart=none").status_code == 422
