"""A surveyor's way through the page in a real browser: doubt, set aside, calibrate, keep, go on with the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from test_app_browser import Opening, browser, folder, opened, pytestmark, server, until  # noqa: F401
from thinstock.survey.form import form_workbook
from thinstock.survey.round import table_path

PLACE = "survey?machine=facial-roll&table=facial-roll"


def shown(page: Any, name: str) -> None:
    until(page, "(n) => document.querySelector(n) !== null && document.documentElement.dataset.ready === '1'", name)


def test_a_doubtful_reading_is_set_aside_taken_back_and_the_machine_calibrated(opened: Opening, folder: Path) -> None:  # noqa: F811
    page = opened(PLACE)
    assert page.locator("#verdict").get_attribute("data-passed") == ""
    page.locator("[data-off='6']").click()
    shown(page, "[data-on='6']")
    assert page.locator("#verdict").get_attribute("data-passed") == "1"
    page.locator("[data-on='6']").click()
    shown(page, "[data-off='6']")
    assert page.locator("#verdict").get_attribute("data-passed") == ""
    page.locator("[data-off='6']").click()
    shown(page, "[data-on='6']")
    page.locator("#calibrate").click()
    shown(page, "#keep")
    assert "drainage resistance factor" in page.locator("#p-body").inner_text()
    page.locator("#keep").click()
    page.wait_for_url("**/machine?file=*")
    shown(page, "#p-fact-flow")
    assert (folder / "facial-roll as surveyed.toml").is_file()


def test_a_file_is_brought_and_a_wrong_one_refused_beside_what_stands(opened: Opening, tmp_path: Path) -> None:  # noqa: F811
    page = opened("survey?machine=facial-roll")
    bad = tmp_path / "bad.csv"
    bad.write_text(
        table_path("facial-roll").read_text(encoding="utf-8").replace("jet,flow", "jett,flow"), encoding="utf-8"
    )
    page.locator("#file").set_input_files(bad)
    until(page, "() => !document.getElementById('notice').hidden")
    assert "jett" in page.locator("#notice").inner_text()
    good = tmp_path / "round of may.csv"
    good.write_bytes(table_path("facial-roll").read_bytes())
    page.locator("#file").set_input_files(good)
    page.wait_for_url("**table=round*")
    shown(page, "#verdict")
    empty = tmp_path / "form.xlsx"
    from thinstock.case import load

    empty.write_bytes(form_workbook(load("facial-roll")))
    page.locator("#file").set_input_files(empty)
    until(page, "() => !document.getElementById('notice').hidden")
    assert "No reading in the table" in page.locator("#notice").inner_text()


def test_a_table_is_typed(opened: Opening) -> None:  # noqa: F811
    page = opened("survey?machine=facial-roll")
    rows = ["fan,flow,1800,kg/s,1 % of value,1,,,", "reject,flow,22,kg/s,50 % of value,1,,,",
            "jet,flow,1450,kg/s,1 % of value,1,,,", "accept,flow,1451,kg/s,1 % of value,1,,,"]  # fmt: skip
    head = page.locator("#text").input_value().splitlines()
    columns = next(line for line in head if line.startswith("stream,quantity"))
    page.locator("#text").fill("\n".join([columns, *rows]))
    page.locator("#take").click()
    page.wait_for_url("**table=readings*")
    shown(page, "#verdict")
    assert "A TIE" in page.locator("#p-body").inner_text()


@pytest.mark.parametrize("place", ["survey?machine=facial-roll", PLACE + "&without=6&calibrate=1"])
def test_the_page_can_be_used_by_everyone(opened: Opening, place: str) -> None:  # noqa: F811
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(place)
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]})
    assert found.violations_count == 0, found.generate_report()
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth + 1")
