"""A slider moved in a real browser: the page changed in place is the page that its address opens."""

from __future__ import annotations

import json
import re
from typing import Any

from test_app_browser import (  # noqa: F401
    Opening,
    browser,
    fact,
    folder,
    opened,
    pytestmark,
    server,
    settled,
    until,
)

MOVE = """([where, steps]) => {
  const slider = document.querySelector(`[data-address='${where}'] [data-slider]`);
  slider.stepUp(steps);
  slider.dispatchEvent(new Event('input', { bubbles: true }));
}"""
PLACES = ("drawing", "notes", "stations", "water", "energy", "fact-production", "fact-flow", "fact-forming", "limits")


def markup(page: Any) -> dict[str, str]:
    """What stands at the places, but for the one stop of the tab key, which goes with the person, and addresses."""
    own = re.compile(r' (?:tabindex|href)="[^"]*"')
    return {name: own.sub("", page.locator(f"#p-{name}").inner_html()) for name in PLACES}


def test_a_drawing_changed_in_place_is_the_drawing_of_a_page_opened_at_the_address(opened: Opening) -> None:  # noqa: F811
    page = opened()
    asked: list[Any] = []
    page.on("request", lambda request: asked.append(request) if request.url.endswith("/machine/answer") else None)
    page.evaluate("() => { window.held_ = document.querySelector('#p-drawing svg g[role=img]'); }")
    before = fact(page, "flow")
    for step in range(1, 4):
        with page.expect_response(lambda reply: '"quick"' in (reply.request.post_data or "")) as got:
            page.evaluate(MOVE, ["headbox.consistency", 1])
        told = got.value.json()
        assert "drawing" not in told["pieces"] and told["moved"]["changes"], step
        assert len(got.value.body()) <= 35_000
    settled(page)
    quick = [one for one in asked if json.loads(one.post_data)["part"] == "quick"]
    assert len(quick) == 3, "one question a step"
    assert fact(page, "flow") != before
    assert page.evaluate("() => window.held_.isConnected"), "the same part of the same drawing"
    assert "headbox.consistency" in (page.locator("#p-fact-flow a.how").get_attribute("href") or "")
    other = opened("machine" + page.evaluate("() => location.search"))
    assert markup(page) == markup(other)


def test_what_was_out_of_sight_stands_as_of_before_until_it_comes(opened: Any) -> None:  # noqa: F811
    opened.forgiven.append("Failed to load resource: net::ERR_FAILED")
    page = opened()
    page.wait_for_selector("#chart-yankee svg")
    page.route("**/machine/answer", lambda route: route.continue_() if '"quick"' in route.request.post_data
               else route.abort())  # fmt: skip
    page.evaluate(MOVE, ["headbox.consistency", 5])
    until(page, "() => document.getElementById('p-energy').classList.contains('waits')")
    assert float(page.evaluate("getComputedStyle(document.getElementById('p-energy')).opacity")) < 0.5
    assert page.locator("#chart-yankee.waits").count() == 1
    before = page.locator("#p-energy").inner_html()
    page.locator("#p-energy").scroll_into_view_if_needed()
    until(page, "() => !document.getElementById('p-energy').classList.contains('waits')")
    until(page, "() => !document.getElementById('chart-yankee').classList.contains('waits')")
    page.unroute("**/machine/answer")
    page.evaluate(MOVE, ["headbox.consistency", 1])
    settled(page)
    assert page.locator(".waits").count() == 0
    assert page.locator("#p-energy").inner_html() != before


PALE = "() => Number(getComputedStyle(document.querySelector('.computed > .facts')).opacity)"


def test_an_answer_that_comes_soon_has_nothing_painted_twice_and_a_late_one_goes_pale(opened: Opening) -> None:  # noqa: F811
    page = opened()
    settled(page)
    begun = page.evaluate("""async () => {
      const slider = document.querySelector("[data-address='headbox.consistency'] [data-slider]");
      slider.stepUp(1);
      slider.dispatchEvent(new Event('input', { bubbles: true }));
      await new Promise(requestAnimationFrame);
      const parts = [...document.querySelectorAll('.computed > :not([data-follows], #p-more)')];
      return document.getAnimations().filter((one) => parts.includes(one.effect.target)).length;
    }""")
    assert begun == 0
    settled(page)
    held: list[Any] = []
    page.route("**/machine/answer", lambda route: held.append(route))
    page.evaluate(MOVE, ["headbox.consistency", 1])
    assert page.evaluate(PALE) == 1.0
    until(page, f"() => ({PALE})() < 0.5")
    page.unroute("**/machine/answer")  # lets go what is held
    settled(page)
    until(page, f"() => ({PALE})() === 1")
