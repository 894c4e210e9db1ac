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


FRESH = "() => document.getElementById('numbers').dataset.state === 'fresh'"


def cell(page: Any, name: str) -> Any:
    """The cell of a reading by its name."""
    return (
        page.locator("tr[data-line]")
        .filter(has=page.get_by_role("rowheader", name=name, exact=True))
        .locator("[data-cell=value]")
    )


def fresh(page: Any) -> None:
    page.wait_for_timeout(300)
    until(page, FRESH, timeout=30)


def test_a_doubtful_reading_is_set_aside_taken_back_and_the_machine_calibrated(opened: Opening, folder: Path) -> None:  # noqa: F811
    page = opened(PLACE)
    assert page.locator("#verdict").get_attribute("data-passed") == ""
    assert page.locator("#drawing .ring").count() == 1 and "jet, flow" in page.locator("#drawing").text_content()
    page.get_by_role("button", name="Set jet, flow aside", exact=True).click()
    until(page, "() => document.getElementById('verdict').dataset.passed === '1'")
    page.get_by_role("button", name="Undo").click()
    until(page, "() => document.getElementById('verdict').dataset.passed === ''")
    assert page.locator("#drawing .ring").count() == 1
    page.get_by_role("button", name="Redo").click()
    until(page, "() => document.getElementById('verdict').dataset.passed === '1'")
    page.locator("#calibrate").click()
    until(page, "() => document.getElementById('keep') !== null", timeout=300)
    seen = page.locator("#p-constants table").bounding_box()
    assert seen is not None and 0 <= seen["y"] < 900, "what Calibrate found is in view"
    assert "drainage resistance factor" in page.locator("#p-constants").inner_text()
    page.locator("#keep").click()
    page.wait_for_url("**/machine?file=*")
    shown(page, "#p-fact-flow")
    assert (folder / "facial-roll as surveyed.toml").is_file()


def test_a_failed_round_offers_its_ways_out_as_buttons(opened: Opening) -> None:  # noqa: F811
    page = opened(PLACE)
    page.locator("#calibrate").click()
    until(page, "() => document.querySelector('#p-constants .fault') !== null", timeout=30)
    assert "--" not in page.locator("#p-constants").inner_text()
    assert page.get_by_role("button", name="Calibrate on all of them all the same").is_visible()
    page.get_by_role("button", name="Give it a wider ±").first.click()
    page.locator("#wider-spread").fill("25 % of value")
    page.locator("#wider-why").fill("slice worn")
    page.get_by_role("button", name="Take it", exact=True).click()
    until(page, "() => document.getElementById('verdict').dataset.passed === '1'")
    assert "slice worn" in page.locator("tr[data-line]").evaluate_all(
        "(rows) => rows.map((r) => r.dataset.cells).join()"
    )


def test_what_is_typed_is_balanced_while_one_types_and_not_lost_unasked(opened: Opening) -> None:  # noqa: F811
    page = opened("survey?machine=facial-roll")
    assert "Nothing is filled in yet" in page.locator("#p-verdict").inner_text()
    for name, text in (("fan pump, flow", "1800"), ("screen reject, flow", "22"), ("jet, flow", "1450,5")):
        cell(page, name).fill(text)
    until(page, "() => document.getElementById('verdict') !== null", timeout=30)
    assert page.locator("#verdict").get_attribute("data-passed") == ""
    cell(page, "fan pump, flow").fill("1470")
    until(page, "() => document.getElementById('verdict')?.dataset.passed === '1'", timeout=30)
    cell(page, "jet, flow").fill("1,450")
    until(page, "() => document.querySelector('tr.bad') !== null", timeout=30)
    assert "1.450 or 1450" in page.locator("tr.wrong:visible").inner_text()
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    page.close(run_before_unload=True)
    page.wait_for_event("close") if not page.is_closed() else None
    assert asked == ["beforeunload"]


def test_a_column_of_a_spreadsheet_fills_the_cells_below(opened: Opening) -> None:  # noqa: F811
    page = opened("survey?machine=facial-roll")
    box = cell(page, "thick stock, flow")
    box.focus()
    box.evaluate(
        "(e) => { const t = new DataTransfer(); t.setData('text/plain', '67,5\\n3,0\\n14,4\\n');"
        " e.dispatchEvent(new ClipboardEvent('paste', { clipboardData: t, bubbles: true, cancelable: true })); }"
    )
    assert cell(page, "thick stock, consistency").input_value() == "3,0"
    assert cell(page, "thick stock, share of fines").input_value() == "14,4"
    assert "Magnetic" in page.locator("#how").inner_text() or page.locator("#how h2").inner_text().startswith(
        "How to read"
    )


def test_another_unit_turns_the_number_and_changes_nothing(opened: Opening) -> None:  # noqa: F811
    page = opened(PLACE)
    row = page.locator("tr[data-line]").filter(has=page.get_by_role("rowheader", name="jet, flow", exact=True))
    before = page.locator("#p-verdict").inner_text().splitlines()[0]
    row.locator("select").select_option("kg/s")
    until(page, "() => [...document.querySelectorAll('[data-cell=value]')].some((e) => e.value.startsWith('1625'))")
    fresh(page)
    assert page.locator("#p-verdict").inner_text().splitlines()[0] == before
    assert "1430" in row.locator("[data-balanced]").inner_text()


def test_a_file_is_brought_and_a_wrong_one_refused_in_its_own_dialog(opened: Opening, tmp_path: Path) -> None:  # noqa: F811
    page = opened("survey?machine=facial-roll")
    bad = tmp_path / "bad.csv"
    bad.write_text(
        table_path("facial-roll").read_text(encoding="utf-8").replace("jet,flow", "jett,flow"), encoding="utf-8"
    )
    page.locator("#open-table").click()
    page.locator("#file").set_input_files(bad)
    until(page, "() => document.getElementById('open-fault').childElementCount > 0")
    assert "jett" in page.locator("#open-fault").inner_text()
    empty = tmp_path / "form.xlsx"
    from thinstock.case import load

    empty.write_bytes(form_workbook(load("facial-roll")))
    page.locator("#file").set_input_files(empty)
    until(page, "() => document.getElementById('open-fault').textContent.includes('No reading in the table')")
    good = tmp_path / "round of may.csv"
    good.write_bytes(table_path("facial-roll").read_bytes())
    page.locator("#file").set_input_files(good)
    page.wait_for_url("**table=round*")
    shown(page, "#verdict")


@pytest.mark.parametrize("place", ["survey?machine=facial-roll", PLACE])
def test_the_page_can_be_used_by_everyone(opened: Opening, place: str) -> None:  # noqa: F811
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(place)
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]})
    assert found.violations_count == 0, found.generate_report()
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth + 1")


def test_signals_over_time_are_looked_through_and_their_rounds_kept(opened: Opening, folder: Path) -> None:  # noqa: F811
    page = opened("/survey?machine=facial-roll")
    page.locator("#signals > summary").click()
    page.locator("#signals-form [name=drift]").uncheck()
    page.locator("#signals-start").click()
    until(page, "() => document.getElementById('keep-rounds') !== null", timeout=120)
    assert "steady" in page.locator("#p-signals").inner_text()
    page.locator("#keep-rounds").click()
    until(page, "() => document.getElementById('rounds-said').textContent.includes('round-')")
    assert list(folder.glob("round-*.csv"))


def test_a_calibration_shows_its_progress_and_is_stopped(opened: Opening) -> None:  # noqa: F811
    page = opened(f"{PLACE}&without=jet+flow")
    page.locator("#calibrate").click()
    until(page, "() => !document.getElementById('calibrating').hidden", timeout=60)
    page.locator("#calibrating [data-stop]").click()
    until(page, "() => document.querySelector('#p-constants .fault') !== null", timeout=60)
    assert "Stopped" in page.locator("#p-constants").inner_text()
