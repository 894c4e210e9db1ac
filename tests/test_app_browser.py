"""Journeys through the page in a real browser, under its strict policy: what a person does, and what they then see.

Any error on the console, any violation of the policy and any fault of a script fails the journey it happens in.
"""

from __future__ import annotations

import os
import re
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from app_client import Server, free_port

playwright = pytest.importorskip("playwright.sync_api")
expect = playwright.expect

CHROMIUM = next((p for p in map(shutil.which, ("chromium", "google-chrome", "chromium-browser")) if p), None)
pytestmark = [pytest.mark.slow, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this computer")]

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync"]  # fmt: skip
READY = "html[data-ready]"
EXPECTED_TROUBLE = re.compile(
    r"status of (403|404|409|422)|ERR_CONNECTION_REFUSED|ERR_EMPTY_RESPONSE|ERR_CONNECTION_RESET"
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("workspace")


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[Server]:
    made = Server(folder, free_port())
    made.warm()
    yield made
    made.stop()
    assert "Traceback" not in "".join(made.errors)


Opening = Callable[..., Any]


@pytest.fixture
def opened(browser: Any, server: Server) -> Iterator[Opening]:
    """Opens a tab on a place; what goes wrong on the console is told at the end."""
    context = browser.new_context(viewport={"width": 1366, "height": 900}, accept_downloads=True)
    context.set_default_timeout(15000)
    wrong: list[str] = []

    def watch(page: Any) -> None:
        def said(message: Any) -> None:
            if message.type == "error" and not EXPECTED_TROUBLE.search(message.text):
                wrong.append(message.text)

        page.on("console", said)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("request", lambda request: None if request.url.startswith(("http://127.0.0.1", "blob:", "data:"))
                else wrong.append(f"asked for {request.url}"))  # fmt: skip

    def go(place: str = "machine?machine=facial-roll", *, address: str = server.address) -> Any:
        page = context.new_page()
        watch(page)
        base, _, _ = address.rpartition("/")
        page.goto(f"{base}/{place}")
        page.wait_for_selector(READY)
        return page

    go.forgiven = []  # type: ignore[attr-defined]
    yield go
    context.close()
    assert go.forgiven == ["any"] or [text for text in wrong if text not in go.forgiven] == []


def fact(page: Any, name: str) -> str:
    return re.sub(r"\s+", " ", page.locator(f"#p-fact-{name}").inner_text()).strip()


def until(page: Any, script: str, argument: Any = None, *, timeout: float = 15.0) -> None:
    """Wait for a script to be true; asked again and again from here, since the page itself evaluates nothing."""
    end = time.monotonic() + timeout
    while not page.evaluate(script, argument):
        assert time.monotonic() < end, f"not within {timeout} s: {script}"
        page.wait_for_timeout(20)


def settled(page: Any) -> None:
    """Wait until the full answer to the last change stands."""
    page.wait_for_timeout(20)
    until(page, "() => document.getElementById('numbers').dataset.state === 'fresh'"
          " && !document.querySelector('.computed .follows')")  # fmt: skip


def type_in(page: Any, where: str, text: str) -> None:
    box = page.locator(f"[data-address='{where}'] [data-value]").first
    box.fill(text)
    box.press("Enter")


def test_a_changed_consistency_changes_numbers_drawing_and_chart(opened: Opening) -> None:
    page = opened()
    page.wait_for_selector("#chart-water_staircase svg")
    numbers = {name: fact(page, name) for name in ("flow", "first", "production")}
    drawing = page.locator("#p-drawing").inner_html()
    chart = page.locator("#chart-water_staircase").inner_html()
    type_in(page, "headbox.consistency", "0.25")
    settled(page)
    assert "0.250 %" in fact(page, "consistency")
    assert fact(page, "flow") != numbers["flow"]
    assert fact(page, "production") == numbers["production"]
    assert page.locator("#p-drawing").inner_html() != drawing
    until(page, "([id, old]) => document.getElementById(id).innerHTML !== old", ["chart-water_staircase", chart])
    assert "set=headbox.consistency%3D0.25" in page.url or "headbox.consistency" in page.url
    row = page.locator("[data-address='headbox.consistency']").first
    assert "changed" in (row.get_attribute("class") or "")
    row.locator("[data-back]").click()
    settled(page)
    assert {name: fact(page, name) for name in numbers} == numbers
    page.locator("#undo").click()
    settled(page)
    assert "0.250 %" in fact(page, "consistency")
    page.keyboard.press("Control+z")
    settled(page)
    assert "0.190 %" in fact(page, "consistency")
    page.locator("#redo").click()
    settled(page)
    assert "0.250 %" in fact(page, "consistency")
    page.reload()
    page.wait_for_selector(READY)
    assert "0.250 %" in fact(page, "consistency"), "the address is the state"


def test_dragging_a_slider_shows_frames_and_ends_at_the_last_value(opened: Opening) -> None:
    page = opened()
    page.evaluate(
        """() => { window.frames_ = new Set();
        new MutationObserver(() => frames_.add(document.querySelector('#p-fact-production .below').textContent))
          .observe(document.getElementById('p-fact-production'), { childList: true, subtree: true }); }"""
    )
    slider = page.locator("[data-address='yankee.speed'] [data-slider]")
    box = slider.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.8, box["y"] + box["height"] / 2)
    page.mouse.down()
    for step in range(20):
        page.mouse.move(box["x"] + box["width"] * (0.8 - 0.025 * step), box["y"] + box["height"] / 2)
        page.wait_for_timeout(20)
    page.mouse.up()
    settled(page)
    shown = page.locator("[data-address='yankee.speed'] [data-value]").input_value()
    assert f"at {shown} m/min" in fact(page, "production")
    assert page.evaluate("frames_.size") >= 3, "frames are shown while it is dragged"
    page.locator("#undo").click()
    settled(page)
    assert "at 1800 m/min" in fact(page, "production"), "a drag is one step back"


def test_another_former_redraws_the_machine_and_says_what_went_along(opened: Opening) -> None:
    page = opened()
    drawing = page.locator("#p-drawing").inner_html()
    page.locator("#pick-former").select_option("suction breast roll")
    settled(page)
    expect(page.locator("#exchanged")).to_contain_text("Carried over")
    expect(page.locator("#exchanged")).to_contain_text("Not carried over")
    assert page.locator("#p-drawing").inner_html() != drawing
    expect(page.locator("#p-drawing")).to_contain_text("suction breast roll")
    for former in ("twin wire, C-wrap", "wire and felt, C-wrap"):
        page.locator("#pick-former").select_option(former)
        settled(page)
    expect(page.locator("#exchanged")).not_to_contain_text("take-off box")
    page.locator("#pick-press").select_option("shoe press")
    settled(page)
    expect(page.locator("#p-notes")).to_contain_text("NOT checked against the vessel's certificate")
    page.locator("#reset").click()
    settled(page)
    assert page.locator("#exchanged").inner_text().strip() == ""


def test_an_impossible_value_shows_its_error_and_loses_nothing(opened: Opening) -> None:
    page = opened()
    type_in(page, "grade.crepe", "15")
    settled(page)
    numbers = fact(page, "production")
    for text, said in (("99999", "must lie between"), ("1800 kPa", "kPa"), ("1,500", "comma")):
        type_in(page, "yankee.speed", text)
        expect(page.locator("[data-address='yankee.speed'] [data-fault]")).to_contain_text(said)
        assert page.locator("#numbers").get_attribute("data-state") == "before"
        assert page.locator("[data-address='yankee.speed'] [data-value]").input_value() == text
        expect(page.locator("#notice")).to_be_visible()
    assert fact(page, "production") == numbers
    assert page.locator("[data-address='grade.crepe'] [data-value]").input_value() == "15"
    assert float(page.evaluate("getComputedStyle(document.querySelector('.computed')).opacity")) < 0.5
    type_in(page, "yankee.speed", "1800 m/min")
    settled(page)
    expect(page.locator("#notice")).to_be_hidden()
    assert "1800 m/min" in fact(page, "production")
    assert page.locator("[data-address='grade.crepe'] [data-value]").input_value() == "15"


def test_saved_opened_again_and_the_same(opened: Opening, folder: Path) -> None:
    page = opened()
    type_in(page, "headbox.consistency", "0.21")
    settled(page)
    numbers = {name: fact(page, name) for name in ("production", "flow", "press", "energy")}
    page.keyboard.press("Control+s")
    page.locator("#save-name").fill("machine two")
    page.locator("#save-name").press("Enter")
    page.wait_for_url(re.compile("file=machine"))
    page.wait_for_selector(READY)
    expect(page.locator("#file-name")).to_have_text("machine two.toml")
    assert page.locator("#unsaved").inner_text() == ""
    assert {name: fact(page, name) for name in numbers} == numbers
    assert "0.21 %" in (folder / "machine two.toml").read_text(encoding="utf-8")
    page.locator("#open").click()
    page.locator("#files-bundled a").first.click()
    page.wait_for_selector(READY)
    page.locator("#open").click()
    page.locator("#files-own a", has_text="machine two").click()
    page.wait_for_selector(READY)
    assert {name: fact(page, name) for name in numbers} == numbers
    with page.expect_download() as held:
        page.locator("#download summary").click()
        page.locator("[data-download=toml]").click()
    assert "0.21 %" in Path(held.value.path()).read_text(encoding="utf-8")


def test_a_file_changed_by_someone_else_is_not_overwritten_silently(opened: Opening, folder: Path) -> None:
    page = opened()
    page.locator("#save").click()
    page.locator("#save-name").fill("shared")
    page.locator("#save-form button.main").click()
    page.wait_for_url(re.compile("file=shared"))
    page.wait_for_selector(READY)
    place = folder / "shared.toml"
    place.write_text(place.read_text(encoding="utf-8").replace('"17 %"', '"18 %"'), encoding="utf-8")
    type_in(page, "headbox.consistency", "0.2")
    expect(page.locator("#notice")).to_contain_text("was changed on disk")
    page.locator("#save").click()
    expect(page.locator("#dialog-conflict")).to_be_visible()
    assert "0.2 %" not in place.read_text(encoding="utf-8").replace("0.19", "")
    page.locator("#conflict-as").click()
    page.locator("#save-name").fill("shared mine")
    page.locator("#save-form button.main").click()
    page.wait_for_url(re.compile("mine"))
    assert "18 %" in place.read_text(encoding="utf-8")
    assert (folder / "shared mine.toml").exists()


def test_a_machine_file_dropped_on_the_page_is_opened(opened: Opening, folder: Path) -> None:
    page = opened()
    text = Path(__file__).parents[1].joinpath("src/thinstock/library/machines/facial-shoe.toml").read_text("utf-8")
    page.evaluate(
        """([name, text]) => { const held = new DataTransfer();
        held.items.add(new File([text], name, { type: 'application/toml' }));
        const how = { dataTransfer: held, bubbles: true, cancelable: true };
        document.body.dispatchEvent(new DragEvent('drop', how)); }""",
        ["dropped.toml", text],
    )
    page.wait_for_url(re.compile("file=dropped"))
    page.wait_for_selector(READY)
    expect(page.locator("h1")).to_contain_text("shoe press")
    assert (folder / "dropped.toml").exists()


def test_two_tabs_do_not_disturb_each_other(opened: Opening) -> None:
    one, two = opened(), opened("machine?machine=facial-shoe")
    type_in(one, "headbox.consistency", "0.3")
    type_in(two, "headbox.consistency", "0.15")
    settled(one)
    settled(two)
    assert "0.300 %" in fact(one, "consistency") and "0.150 %" in fact(two, "consistency")
    one.locator("#undo").click()
    settled(one)
    assert "0.190 %" in fact(one, "consistency") and "0.150 %" in fact(two, "consistency")


def test_a_server_that_was_killed_leaves_nothing_that_looks_current_and_the_page_goes_on_after_a_restart(
    opened: Opening, tmp_path: Path
) -> None:
    port = free_port()
    first = Server(tmp_path, port)
    page = opened(address=first.address)
    type_in(page, "headbox.consistency", "0.22")
    settled(page)
    first.stop()
    type_in(page, "headbox.consistency", "0.24")
    expect(page.locator("#notice")).to_contain_text("does not answer")
    assert page.locator("#numbers").get_attribute("data-state") == "before"
    second = Server(tmp_path, port)
    try:
        expect(page.locator("#notice")).to_contain_text("started anew", timeout=20000)
        assert page.locator("#numbers").get_attribute("data-state") == "before"
        other = opened(address=second.address)
        until(page, "() => document.getElementById('numbers').dataset.state === 'fresh'", timeout=20)
        assert "0.240 %" in fact(page, "consistency"), "with the change that was made while it was away"
        other.close()
        page.close()
    finally:
        second.stop()


def test_a_fault_of_the_server_stands_where_the_numbers_were(opened: Any) -> None:
    opened.forgiven.append("Failed to load resource: the server responded with a status of 500 (Internal Server Error)")
    page = opened()
    page.route("**/machine/answer", lambda route: route.fulfill(status=500, body='{"failed":true}'))
    type_in(page, "headbox.consistency", "0.22")
    expect(page.locator("#notice")).to_contain_text("not you")
    assert not page.locator("#p-fact-production").is_visible()
    page.unroute("**/machine/answer")
    page.locator("#undo").click()
    settled(page)
    assert page.locator("#p-fact-production").is_visible()


def test_sheets_are_laid_and_shown_against_the_light(opened: Opening) -> None:
    page = opened("sheet?machine=facial-roll&c=0.1 %&c=0.6 %")
    page.wait_for_selector("#sheet-1:not([hidden])", timeout=180000)
    until(page, "() => document.getElementById('laying').hidden", timeout=180)
    page.wait_for_selector("#chart-zones svg")
    assert page.locator("#sheet-0").evaluate("e => e.naturalWidth") == 800
    first = page.locator("#sheet-1").get_attribute("src")
    page.get_by_label("direct: holes shine").check()
    assert page.locator("#sheet-1").get_attribute("src") != first
    before = page.locator("#p-table").inner_text()
    page.locator("#v").fill("0.35")
    page.locator("#v").press("Enter")
    until(page, "old => document.getElementById('p-table').innerText !== old", before)
    page.locator("#stop").click()
    expect(page.locator("#notice")).to_contain_text("Stopped")
    expect(page.locator("#sheets")).to_have_class(re.compile("old"))


def test_formers_and_options_answer(opened: Opening) -> None:
    page = opened("formers?machine=facial-roll")
    page.wait_for_selector("#p-field svg .rung.lit")
    before = page.locator("#p-strip-own").text_content()
    type_in(page, "yankee.speed", "1200")
    until(page, "old => document.getElementById('p-strip-own').textContent !== old", before, timeout=20)
    page.locator("#p-row button", has_text="suction breast roll").click()
    page.locator("#p-brief [data-take='suction breast roll']").click()
    page.wait_for_selector(READY)
    assert "1200 m/min" in fact(page, "production")
    expect(page.locator("#exchanged")).to_contain_text("Carried over")
    page.locator("[data-page-link]", has_text="Options").click()
    page.wait_for_selector(READY)
    page.locator("#add").select_option(label="shoe press")
    page.wait_for_selector(".compared .difference")
    page.wait_for_selector(READY)
    assert page.locator(".machines li").count() == 2
    page.locator("[data-remove]").first.click()
    expect(page.locator(".machines li")).to_have_count(1)


def test_the_keyboard_alone_is_enough(opened: Opening) -> None:
    page = opened()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    wanted = page.locator("[data-address='headbox.consistency'] [data-slider]")
    for _ in range(80):
        page.keyboard.press("Tab")
        if wanted.evaluate("e => e === document.activeElement"):
            break
    else:
        raise AssertionError("the slider of the consistency cannot be reached by the tab key")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    settled(page)
    shown = page.locator("[data-address='headbox.consistency'] [data-value]").input_value()
    assert float(shown) > 0.19
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline != "none", "where the keyboard is can be seen"


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize(
    "place", ["machine", "formers", "sheet?c=0.2 %", "options?machine=facial-roll&other=machine%3Dfacial-shoe", "truth"]
)
def test_pages_can_be_read_by_everyone(browser: Any, server: Server, place: str, mode: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    context = browser.new_context(viewport={"width": 1366, "height": 900}, color_scheme=mode, bypass_csp=True,
                                  reduced_motion="reduce")  # fmt: skip
    page = context.new_page()
    page.goto(server.address.rpartition("/")[0] + "/" + place)
    page.wait_for_selector(READY)
    for fold in [*page.locator("details:not(.menu)").all()[:3], *page.locator(".wet-end > details").all()]:
        fold.evaluate("e => { e.open = true }")
    page.wait_for_timeout(400)
    until(page, "() => !document.querySelector('[data-costs]:not([data-fresh])')")
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]})
    context.close()
    assert found.violations_count == 0, found.generate_report()


def test_what_refining_costs_comes_when_it_is_opened_and_follows_the_machine(opened: Opening) -> None:
    page = opened()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url) if request.url.endswith("/machine/costs") else None)
    assert page.locator("#p-freeness").inner_text() == "" and asked == []
    wanted = ("freeness", "vacuum", "evenness")
    for part in wanted:
        page.locator(f"[data-costs={part}] > summary").click()
    page.locator("details:has(> #p-furnish) > summary").click()
    for part in wanted:
        page.wait_for_selector(f"[data-costs={part}][data-fresh]")
    assert len(asked) == 3 and "from 520\u00a0mL CSF" in page.locator("#p-freeness").inner_text()
    assert "entered (given)" in page.locator("#p-furnish").inner_text()
    type_in(page, "stock.freeness", "400")
    until(page, "() => document.getElementById('p-freeness').textContent.includes('from 400\u00a0mL CSF')")
    page.wait_for_selector("[data-costs=freeness][data-fresh]")
    assert "entered (what-if)" in page.locator("#p-furnish").inner_text()


@pytest.mark.parametrize("width", [360, 1366, 1920])
@pytest.mark.parametrize("place", ["machine", "formers", "sheet", "options?other=machine%3Dfacial-shoe"])
def test_nothing_hangs_over_the_edge_of_the_page(browser: Any, server: Server, place: str, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 800})
    page = context.new_page()
    page.goto(server.address.rpartition("/")[0] + "/" + place)
    page.wait_for_selector(READY)
    page.wait_for_timeout(500)
    wide = page.evaluate("document.documentElement.scrollWidth")
    context.close()
    assert wide <= width


def test_every_drawing_and_chart_has_words_and_a_table(opened: Opening) -> None:
    page = opened()
    page.wait_for_selector("#chart-yankee svg")
    for canvas in page.locator("figure .canvas").all():
        assert len(canvas.get_attribute("aria-label") or "") > 60
    for figure in page.locator("figure.chart").all():
        assert figure.locator("details table tr").count() > 2
    assert page.locator("figure.elevation details table tr").count() > 5
    assert len(page.locator("#p-drawing svg desc").first.text_content() or "") > 100


def test_the_browser_holds_the_policy_against_what_would_get_into_the_page(opened: Any) -> None:
    opened.forgiven.append("any")
    page = opened()
    page.evaluate(
        """() => { window.got_ = [];
        const script = document.createElement('script'); script.textContent = "got_.push('inline')";
        document.body.append(script);
        const image = document.createElement('div'); image.innerHTML = '<img src=x onerror="got_.push(1)">';
        document.body.append(image);
        setTimeout(() => { try { new Function('got_.push("evaluated")')(); } catch { got_.tried = true; } }, 0);
        fetch('http://127.0.0.1:9/').then(() => got_.push('sent'), () => { got_.refused = true; }); }"""
    )
    until(page, "() => got_.tried && got_.refused")
    page.wait_for_timeout(200)
    assert page.evaluate("got_.length") == 0


def test_the_page_can_be_printed(opened: Opening, tmp_path: Path) -> None:
    page = opened()
    page.emulate_media(media="print", color_scheme="dark")
    assert not page.locator(".mast").is_visible()
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
    made = page.pdf(path=str(tmp_path / "page.pdf"), format="A4")
    assert made.startswith(b"%PDF") and os.path.getsize(tmp_path / "page.pdf") > 20000
