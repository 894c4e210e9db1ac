"""What a visitor does with the page besides dragging values, in a real browser: files, leaving, undo, a server gone."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from app_client import Server, free_port
from test_app_browser import (  # noqa: F401
    READY,
    Opening,
    browser,
    expect,
    fact,
    folder,
    opened,
    pytestmark,
    server,
    settled,
    type_in,
    until,
)

MOST_STOPS = 120
LARGEST_VISIT = 600_000
MACHINES = Path(__file__).parents[1] / "src/thinstock/library/machines"


def test_a_server_killed_while_nobody_asks_is_noticed_within_five_seconds(opened: Opening, tmp_path: Path) -> None:  # noqa: F811
    made = Server(tmp_path, free_port())
    page = opened(address=made.address)
    page.wait_for_timeout(500)
    made.stop()
    begun = time.monotonic()
    expect(page.locator("#notice")).to_contain_text("does not answer", timeout=8000)
    assert time.monotonic() - begun < 6.0, "five seconds, and one for a busy computer"
    assert float(page.evaluate("getComputedStyle(document.querySelector('.reading .computed')).opacity")) < 0.5
    page.close()


def test_a_file_is_picked_and_a_refused_one_says_why_in_a_dialog_of_its_own(opened: Opening, tmp_path: Path) -> None:  # noqa: F811
    page = opened()
    text = (MACHINES / "facial-shoe.toml").read_text(encoding="utf-8")
    bad = tmp_path / "bad.toml"
    bad.write_text(text.replace("freeness =", "freenes =").replace("crepe =", "crep ="), encoding="utf-8")
    page.locator("#open").click()
    expect(page.locator("#dialog-open")).to_be_visible()
    page.locator("#open-file").set_input_files(bad)
    expect(page.locator("#dialog-refused")).to_be_visible()
    expect(page.locator("#dialog-refused h2")).to_contain_text("bad.toml")
    assert page.locator("#refused-faults li").count() >= 2, "fault by fault"
    assert not page.locator("#dialog-save").is_visible()
    good = tmp_path / "brought.toml"
    good.write_text(text, encoding="utf-8")
    page.locator("#refused-other").click()
    page.locator("#open-file").set_input_files(good)
    page.wait_for_url("**file=brought*")
    page.wait_for_selector(READY)


def test_save_as_asks_for_a_title_and_it_stands_in_the_file(opened: Opening, folder: Path) -> None:  # noqa: F811
    page = opened()
    page.locator("#save-as").click()
    page.locator("#save-title").fill("Our third machine")
    page.locator("#save-name").fill("third")
    page.locator("#save-form button.main").click()
    page.wait_for_url("**file=third*")
    page.wait_for_selector(READY)
    assert "Our third machine" in (folder / "third.toml").read_text(encoding="utf-8")
    expect(page.locator("#machine-title")).to_contain_text("Our third machine")


def test_undo_takes_back_what_another_page_changed(opened: Opening) -> None:  # noqa: F811
    page = opened("machine?machine=facial-roll")
    speed = fact(page, "production")
    page.locator("[data-page-link]", has_text="Formers").click()
    page.wait_for_selector(READY)
    page.locator("button.former").nth(1).click()
    page.locator("[data-take]:visible").first.click()
    page.wait_for_selector(READY)
    expect(page.locator("#undo")).to_be_enabled()
    assert "former=" in page.url
    page.locator("#undo").click()
    settled(page)
    assert "former=" not in page.evaluate("location.search") and fact(page, "production") == speed


def test_every_page_takes_back_its_own_changes(opened: Opening) -> None:  # noqa: F811
    page = opened("formers?machine=facial-roll")
    page.wait_for_selector("#p-field svg .rung.lit")
    type_in(page, "yankee.speed", "1200")
    until(page, "() => location.search.includes('1200')")
    page.locator("#undo").click()
    until(page, "() => !location.search.includes('1200')")
    until(page, "() => document.querySelector(\"[data-address='yankee.speed'] [data-value]\").value === '1800'")
    page.goto(page.url.replace("/formers", "/options"))
    page.locator("#add").select_option(label="shoe press")
    page.wait_for_selector(".compared .difference")
    page.wait_for_selector(READY)
    page.locator("#undo").click()
    page.wait_for_selector(".compared .difference", state="detached")
    page.goto(page.url.replace("/options", "/sheet"))
    page.wait_for_selector(READY)
    before = page.locator("#w").input_value()
    page.locator("#w").fill("30")
    page.locator("#w").press("Enter")
    until(page, "() => location.search.includes('w=30')")
    page.locator("#undo").click()
    page.wait_for_url(lambda url: "w=30" not in url)
    page.wait_for_selector(READY)
    assert page.locator("#w").input_value() == before


def test_leaving_with_changes_asks(opened: Opening) -> None:  # noqa: F811
    page = opened()
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    page.locator("[data-page-link]", has_text="Sheet").click()
    page.wait_for_selector(READY)
    assert asked == [], "nothing is changed"
    page.go_back()
    page.wait_for_selector(READY)
    type_in(page, "headbox.consistency", "0,25")
    settled(page)
    assert "0.250 %" in fact(page, "consistency"), "a decimal comma is a point"
    page.locator("[data-page-link]", has_text="Options").click()
    page.wait_for_selector(READY)
    assert asked == [], "the change goes along"
    page.locator("h1").click()
    page.reload()
    assert asked == ["beforeunload"]


def test_the_machine_page_has_few_stops_and_the_drawing_one(opened: Opening) -> None:  # noqa: F811
    page = opened()
    page.wait_for_selector("#chart-yankee svg")
    page.locator("body").click(position={"x": 2, "y": 2})
    seen = 0
    for _ in range(MOST_STOPS + 40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement === document.body || document.activeElement.className === 'skip'"):
            break
        seen += 1
    assert seen <= MOST_STOPS
    assert page.locator("#p-drawing g[role=img][tabindex='0']").count() == 1
    page.locator("#p-drawing g[role=img][tabindex='0']").focus()
    name = page.locator(".tip b").inner_text()
    page.keyboard.press("ArrowRight")
    assert page.locator(".tip b").inner_text() != name, "arrows go from part to part"


@pytest.mark.parametrize("size", [(1024, 768), (1440, 900), (1920, 1080)])
def test_values_and_drawing_stand_on_the_first_screen(browser: Any, server: Server, size: tuple[int, int]) -> None:  # noqa: F811
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    page.goto(server.address)
    page.wait_for_selector(READY)
    drawing, value = (
        page.locator(where).first.bounding_box() for where in ("#p-drawing svg", "[data-address='headbox.consistency']")
    )
    page.close()
    assert drawing["y"] < 0.42 * size[1] and value["y"] < 0.9 * size[1]


def test_what_a_part_is_stands_at_the_pointer(opened: Opening) -> None:  # noqa: F811
    page = opened()
    part = page.locator("#p-drawing g[role=img]").first
    box = part.bounding_box()
    part.hover(force=True, position={"x": box["width"] / 2, "y": 6})
    tip = page.locator(".tip")
    expect(tip).to_be_visible()
    at = tip.bounding_box()
    assert abs(at["x"] - box["x"] - box["width"] / 2) < 400 and abs(at["y"] - box["y"] - 6) < 200


def test_stations_keep_the_machines_order_when_a_former_is_exchanged_live(opened: Opening) -> None:  # noqa: F811
    page = opened()
    page.wait_for_selector("#chart-water_staircase svg")
    page.locator("#pick-former").select_option("flat wire, foils")
    settled(page)
    page.wait_for_timeout(600)
    labels = "[...document.querySelectorAll('#chart-water_staircase .role-axis-label text')].map((t) => t.textContent)"
    live = page.evaluate(labels)
    page.reload()
    page.wait_for_selector("#chart-water_staircase svg")
    until(page, f"() => {labels}.length > 3")
    assert live == page.evaluate(labels) and len(live) > 3


def test_the_first_visit_is_light(browser: Any, server: Server) -> None:  # noqa: F811
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    wire = context.new_cdp_session(page)
    wire.send("Network.enable")
    sizes: list[float] = []
    wire.on("Network.loadingFinished", lambda told: sizes.append(told["encodedDataLength"]))
    page.goto(server.address)
    page.wait_for_selector("#chart-yankee svg")
    page.wait_for_timeout(300)
    context.close()
    assert sum(sizes) <= LARGEST_VISIT and len(sizes) <= 16, (sum(sizes), len(sizes))


@pytest.mark.parametrize("place", ["machine", "class?machine=facial-roll", "study", "formers"])
def test_pages_can_be_used_on_a_phone(browser: Any, server: Server, place: str) -> None:  # noqa: F811
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    context = browser.new_context(viewport={"width": 390, "height": 844}, bypass_csp=True)
    page = context.new_page()
    page.goto(server.address.rpartition("/")[0] + "/" + place)
    page.wait_for_load_state()
    page.wait_for_timeout(1500)
    until(page, "() => !document.querySelector('.computed .follows, [data-state=asking]')", timeout=40)
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]})
    sideways = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
    context.close()
    assert found.violations_count == 0, found.generate_report()
    assert sideways <= 1


def test_the_walk_is_turned_by_a_clickers_keys_and_its_next_is_in_sight(opened: Opening) -> None:  # noqa: F811
    page = opened("class/walk?machine=facial-roll")
    first = page.locator("h1").inner_text()
    seen = page.locator(".turn a[rel=next]").bounding_box()
    assert seen is not None and seen["y"] + seen["height"] <= 901
    page.keyboard.press("PageDown")
    expect(page.locator("h1")).not_to_have_text(first)
    page.wait_for_selector(READY)
    page.keyboard.press("ArrowLeft")
    expect(page.locator("h1")).to_have_text(first)


def test_limits_stand_before_what_takes_longer(opened: Opening) -> None:  # noqa: F811
    page = opened()
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.post_data_json["part"]) if r.url.endswith("/machine/answer") else None)
    type_in(page, "yankee.speed", "1700")
    settled(page)
    page.wait_for_timeout(400)
    assert asked[-3:] == ["quick", "limits", "full"]
    assert "1893" in page.locator("#p-limits").inner_text() or "drying" in page.locator("#p-limits").inner_text()


def test_the_sheet_comes_in_few_requests(opened: Opening) -> None:  # noqa: F811
    page = opened("study")
    asked: list[str] = []
    page.on(
        "request",
        lambda r: None if r.url.endswith(("/alive", ".woff")) or r.url.startswith("blob:") else asked.append(r.url),
    )
    page.locator("[data-page-link]", has_text="Sheet").click()
    page.wait_for_selector("#sheet-3:not([hidden])", timeout=180000)
    until(page, "() => document.getElementById('laying').hidden", timeout=180)
    assert page.locator("#sheet-0").evaluate("e => e.naturalWidth") == 800
    polls = [url for url in asked if "/jobs/" in url or url.endswith("/sheet/answer")]
    assert len(asked) - len(polls) <= 9, asked
    asked.clear()
    page.get_by_label("direct: holes shine").check()
    page.wait_for_timeout(500)
    assert 0 < len(asked) <= 4


@pytest.mark.parametrize("width", [1366, 1440])
def test_what_is_in_brackets_stands_beside_its_number_in_the_strip(opened: Opening, width: int) -> None:  # noqa: F811
    page = opened()
    page.set_viewport_size({"width": width, "height": 900})
    settled(page)
    apart = page.evaluate("""() => [...document.querySelectorAll('#p-fact-energy .pm')].map((pm) => {
      const number = pm.previousElementSibling.getBoundingClientRect(), own = pm.getBoundingClientRect();
      return Math.max(own.top, number.top) < Math.min(own.bottom, number.bottom);
    })""")
    assert apart == [True] * 3
