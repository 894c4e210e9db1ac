"""The stage in a browser: every kind of scene on one unscrolled screen, keys of a clicker, slider, reveal, notes."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from test_app_browser import (  # noqa: F401
    READY,
    Opening,
    browser,
    expect,
    folder,
    opened,
    pytestmark,
    server,
    until,
)
from thinstock.lesson.library import bundled, lesson_names
from thinstock.lesson.played import Place, Stage

SIZES = ((1024, 768), (1920, 1080))
KINDS = {scene.show: (name, i) for name in lesson_names() for i, scene in enumerate(bundled(name).scenes)}
"""One scene of every kind of show."""
ORDERED = sorted(KINDS.items())
FIRST = lesson_names()[0]
SPILT = """() => {
  const found = [], seen = document.querySelectorAll('.stage > :not(.empty):not([hidden])');
  for (const e of seen) {
    const r = e.getBoundingClientRect();
    if (!r.height) continue;
    const spilt = e.scrollHeight > e.clientHeight + 3 || e.scrollWidth > e.clientWidth + 3;
    if (r.bottom > innerHeight + 1 || r.right > innerWidth + 1 || spilt)
      found.push([e.id || e.tagName, r.bottom, e.scrollHeight, e.clientHeight, e.scrollWidth, e.clientWidth].join(' '));
  }
  const whole = document.documentElement;
  if (whole.scrollHeight > innerHeight || whole.scrollWidth > innerWidth) found.push('scrolled');
  const words = [...document.querySelectorAll('.st-drawing text')]
    .map((t) => parseFloat(getComputedStyle(t).fontSize) * t.getScreenCTM().a);
  if (words.length && Math.min(...words) < 15.9 * innerHeight / 768) found.push('small words ' + Math.min(...words));
  return found;
}"""


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    """Sheets are compiled before a browser waits for one; the server finds what was compiled here."""
    name, index = KINDS["light"]
    Stage(bundled(name).scenes[index]).drawn(Place(width=944.0, height=300.0, image=lambda content: ""))


def on_stage(opened: Opening, lesson: str, index: int = 0) -> Any:  # noqa: F811
    page = opened(f"lessons/stage?lesson={lesson}#{index + 1}")
    until(page, "(i) => document.documentElement.dataset.scene === String(i)", index)
    return page


def all_said(page: Any) -> None:
    for _ in range(page.locator("#lines p:not(.said)").count()):
        page.keyboard.press("ArrowRight")


@pytest.mark.parametrize("kind, at", ORDERED, ids=[kind for kind, _ in ORDERED])
def test_every_kind_of_scene_stands_on_one_screen_and_is_accessible(opened: Opening, kind: str, at: Any) -> None:  # noqa: F811
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = on_stage(opened, *at)
    for wide, high in SIZES:
        page.set_viewport_size({"width": wide, "height": high})
        until(page, "(wide) => document.documentElement.dataset.wide === wide", str(round(wide / (high / 768))))
        all_said(page)
        assert page.evaluate(SPILT) == [], (kind, wide)
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]})
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found.response["violations"]] == []


def test_a_clicker_turns_lines_and_scenes_and_nothing_shifts(opened: Opening) -> None:  # noqa: F811
    page = on_stage(opened, FIRST, 3)
    lines = page.locator("#lines p")
    place = lines.nth(2).bounding_box()
    assert page.locator("#lines p.said").count() == 0
    page.keyboard.press("ArrowRight")
    page.keyboard.press("PageDown")
    assert page.locator("#lines p.said").count() == 2
    page.keyboard.press("PageUp")
    assert page.locator("#lines p.said").count() == 1
    assert lines.nth(2).bounding_box() == place
    all_said(page)
    page.keyboard.press("PageDown")
    until(page, "() => document.documentElement.dataset.scene === '4'")
    page.keyboard.press("ArrowLeft")
    until(
        page, "() => document.documentElement.dataset.scene === '3' && !document.querySelector('#lines p:not(.said)')"
    )
    for key, scene in (("End", "13"), ("Home", "0"), ("7", "6")):
        page.keyboard.press(key)
        until(page, "(i) => document.documentElement.dataset.scene === i", scene)
    page.keyboard.press("b")
    expect(page.locator("#blank")).to_be_visible()
    page.keyboard.press("b")
    page.keyboard.press("w")
    expect(page.locator("#workings h3").first).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#working")).to_be_hidden()
    for key, where in (("i", "#ink"), ("p", "#pointer"), ("h", "#help")):
        page.keyboard.press(key)
        expect(page.locator(where)).to_be_visible()
    page.keyboard.press("Escape")
    page.keyboard.press("d")
    assert page.evaluate("document.documentElement.dataset.paper") == "dark"
    assert page.evaluate(SPILT) == []
    page.keyboard.press("Escape")
    page.wait_for_url("**/lessons")


def test_the_answer_waits_for_its_key_and_the_slider_drives_drawing_and_numbers(opened: Opening) -> None:  # noqa: F811
    page = on_stage(opened, FIRST, 2)
    assert "?" in page.locator("#numbers").inner_text()
    assert page.locator("#answer").inner_text() == ""
    page.keyboard.press("r")
    until(page, "() => document.getElementById('answer').textContent !== ''")
    assert "?" not in page.locator("#numbers").inner_text()
    numbers, drawing = page.locator("#numbers").inner_text(), page.locator("#drawing").inner_html()
    page.keyboard.press("Shift+ArrowUp")
    until(page, "(old) => document.getElementById('numbers').innerText !== old", numbers)
    assert page.locator("#drawing").inner_html() != drawing
    page.keyboard.press("5")
    until(page, "() => document.documentElement.dataset.scene === '4'")
    asked: list[Any] = []
    page.on("request", lambda request: asked.append(request) if request.url.endswith("/lessons/scene") else None)
    for share in range(80, 280, 10):
        page.evaluate(
            "(v) => { const m = document.getElementById('move'); m.value = v; m.dispatchEvent(new Event('input')); }",
            share,
        )
    until(page, "() => document.documentElement.dataset.moved === String(270 / 400)")
    assert 2 <= len(asked) < 20, "one question at a time; of those that wait the newest alone is asked"


def test_the_trainers_own_screen_follows_and_shows_the_answer_that_the_wall_hides(opened: Opening) -> None:  # noqa: F811
    page = on_stage(opened, FIRST, 4)
    own = opened(f"lessons/stage?lesson={FIRST}&notes")
    until(own, "() => document.getElementById('where').textContent.startsWith('5 of 14')")
    expect(own.locator("#asked-answer")).to_contain_text("m/min")
    expect(own.locator("#asked-answer")).to_contain_text("hidden")
    assert page.locator("#answer").inner_text() == ""
    own.keyboard.press("ArrowRight")
    until(page, "() => document.querySelectorAll('#lines p.said').length === 1")
    own.keyboard.press("r")
    until(page, "() => document.getElementById('answer').textContent !== ''")
    assert own.evaluate("document.documentElement.scrollHeight <= innerHeight")
    assert json.loads(page.locator("#lesson").text_content())["scenes"][4]["notes"]


def test_an_answer_that_comes_late_never_stands_under_another_question(opened: Opening) -> None:  # noqa: F811
    page = on_stage(opened, FIRST, 4)
    own = opened(f"lessons/stage?lesson={FIRST}&notes")
    expect(own.locator("#asked-answer")).to_contain_text("m/min")
    held: list[Any] = []

    def asks(index: int) -> Callable[[Any], bool]:
        return lambda one: one.request.url.endswith("told") and f'"index":{index},' in one.request.post_data

    own.route("**/lessons/told", lambda route: held.append(route) if asks(0)(route) else route.continue_())
    page.keyboard.press("Home")
    until(own, "() => document.getElementById('where').textContent.startsWith('1 of 14')")
    with own.expect_response(asks(4)):
        page.keyboard.press("5")
    with own.expect_response(asks(0)):
        held[0].continue_()
    own.wait_for_timeout(300)
    expect(own.locator("#asked-answer")).to_contain_text("m/min")


def test_the_answer_on_the_trainers_screen_moves_with_the_slider_of_the_wall(opened: Opening) -> None:  # noqa: F811
    page = on_stage(opened, FIRST, 5)
    own = opened(f"lessons/stage?lesson={FIRST}&notes")
    expect(own.locator("#asked-answer")).to_contain_text("hidden")
    before = own.locator("#asked-answer").inner_text()
    page.evaluate("const m = document.getElementById('move'); m.value = 40; m.dispatchEvent(new Event('input'));")
    until(own, "(old) => document.getElementById('asked-answer').textContent.trim() !== old.trim()", before)
    page.keyboard.press("r")
    until(page, "() => document.getElementById('answer').textContent !== ''")
    wall = page.locator("#answer").inner_text()
    expect(own.locator("#asked-answer")).to_contain_text(wall)


def test_an_answer_that_was_shown_follows_the_slider(opened: Opening) -> None:  # noqa: F811
    page = on_stage(opened, FIRST, 5)
    page.keyboard.press("r")
    until(page, "() => document.getElementById('answer').textContent !== ''")
    before = page.locator("#answer").inner_text()
    page.evaluate("const m = document.getElementById('move'); m.value = 40; m.dispatchEvent(new Event('input'));")
    until(page, "() => document.documentElement.dataset.moved === '0.1'")
    after = page.locator("#answer").inner_text()
    assert after != before
    assert page.locator("#numbers .value").first.inner_text() == after, "the answer and the number tell the same"
