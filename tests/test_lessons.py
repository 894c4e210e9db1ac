"""Lessons: every bundled scene runs, faults come together, a changed file keeps its comments."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from overlaps import counted, seen
from thinstock.cli import status
from thinstock.drawing import typeface
from thinstock.errors import Refused
from thinstock.lesson import write
from thinstock.lesson.layout import MARGIN, layout
from thinstock.lesson.library import bundled, found, lesson_names, lesson_text
from thinstock.lesson.model import SHOWS
from thinstock.lesson.named import names
from thinstock.lesson.number import LINES, number, working
from thinstock.lesson.own_numbers import FACTS
from thinstock.lesson.played import Place, Played, Stage, check
from thinstock.lesson.read import read
from thinstock.lesson.shows.canvas import framed
from thinstock.lesson.wording import slots_of

LESSONS = lesson_names()
WIDTHS = (944.0, 1285.0)
"""Width of a drawing on 1024 × 768 and on 1920 × 1080, at a height of 768."""

BROKEN = """format = 2
title = "Wrong everywhere"
colour = "red"
[[scene]]
name = "a"
title = "A"
show = "cinema"
machine = "facial-roll"
numbers = ["bathtub", "speed", "consistency", "pulses"]
say = "This sentence is far longer than anybody in a crew would want to read on a wall even once {oops}."
[[scene]]
name = "a"
title = ""
show = "former"
[scene.ask]
text = "?"
tolerance = "120 %"
"""

COMMENTED = """format = 1
# what it is for
title = "Mine"

# the first
[[scene]]
name = "one"            # short
title = "One"
show = "words"
say = "A word."

# the second
[[scene]]
name = "two"
title = "Two"
show = "words"
"""


def place(width: float, stage: Stage | None = None) -> Place:
    """Room for a drawing; that of a scene on the stage, where one is given."""
    high = 330.0
    if stage is not None:
        high = layout(stage.scene, width + 2 * MARGIN, tuple(words for _, words in stage.remarks())).drawing
    return Place(width=width, height=high, image=lambda content: "data:,")


@pytest.fixture(scope="module")
def stages() -> dict[tuple[str, str], Stage]:
    return {(name, scene.name): Stage(scene) for name in LESSONS for scene in bundled(name).scenes}


@pytest.fixture(scope="module")
def played(stages: dict[tuple[str, str], Stage]) -> dict[tuple[str, str, float], Played]:
    return {(*key, w): stage.played(place(w, stage)) for key, stage in stages.items() for w in WIDTHS}


def test_there_are_five_lessons_and_every_kind_of_show_is_in_them() -> None:
    assert len(LESSONS) == 5
    shown = {scene.show for name in LESSONS for scene in bundled(name).scenes}
    assert set(SHOWS) - shown == set()


@pytest.mark.slow
def test_every_scene_of_every_lesson_runs(
    played: dict[tuple[str, str, float], Played], stages: dict[tuple[str, str], Stage]
) -> None:
    assert len(played) == len(WIDTHS) * len(stages)
    assert [(key, str(fault)) for key, stage in stages.items() for fault in stage.faults()] == []
    assert all((stage.answer() is None) == (stage.scene.ask is None) for stage in stages.values())
    assert check(bundled(LESSONS[-1])) == []


@pytest.mark.slow
def test_no_word_of_a_scene_meets_another_a_line_or_the_frame_at_both_sizes(
    played: dict[tuple[str, str, float], Played], stages: dict[tuple[str, str], Stage]
) -> None:
    wrong = []
    for (lesson, scene, width), one in played.items():
        if one.drawn.markup:
            room = place(width, stages[lesson, scene])
            ink = seen(framed(one.drawn.markup, room, one.drawn.alt, "print"))
            wrong += [(lesson, scene, width, face, what, where) for face in typeface.FACES
                      for what, where in counted(ink, face).items() if where]  # fmt: skip
            assert min(size for *_, size, _, _ in ink.words) >= 15 if ink.words else True, (lesson, scene)
    assert wrong == []


@pytest.mark.slow
def test_every_number_on_a_scene_has_its_working_in_at_most_three_lines(stages: dict[tuple[str, str], Stage]) -> None:
    for key, stage in stages.items():
        for title, lines in stage.workings():
            assert 1 <= len(lines) <= LINES, (key, title)


@pytest.mark.slow
def test_side_by_side_the_working_is_that_of_both_machines(stages: dict[tuple[str, str], Stage]) -> None:
    both = {key: stage for key, stage in stages.items() if stage.beside is not None and stage.scene.numbers}
    assert both
    for key, stage in both.items():
        titles = [title for title, _ in stage.workings()]
        for name in stage.scene.numbers:
            left, right = (number(one, name) for one in (stage.subject, stage.beside) if one is not None)
            if left.value != right.value:
                of = [title for title in titles if title.startswith(f"{left.label}: ")]
                assert len(of) == 2 and left.said in of[0] and right.said in of[1] and of[0] != of[1], (key, name)


def test_a_lesson_file_holds_no_number_that_a_machine_can_give() -> None:
    for name in LESSONS:
        for scene in tomllib.loads(lesson_text(name))["scene"]:
            asked = scene.get("ask", {})
            words = [scene.get(k, "") for k in ("title", "say", "practice", "unknown", "notes", "label")]
            words += [asked.get("text", ""), *asked.get("choices", [])]
            assert [w for w in words if re.search(r"\d", w)] == [], (name, scene["name"])


def test_a_question_never_shows_its_answer_before_it_is_revealed(stages: dict[tuple[str, str], Stage]) -> None:
    asked = [(key, s) for key, s in stages.items() if s.scene.ask is not None and s.scene.ask.answer]
    assert asked
    for key, stage in asked:
        ask = stage.scene.ask
        assert ask is not None
        hidden = stage.played(place(944.0), hidden=True)
        if ask.answer in stage.scene.numbers:
            assert hidden.numbers[stage.scene.numbers.index(ask.answer)].value == "?", key
        if ask.answer in slots_of(stage.scene.say):
            assert any("?" in line for line in hidden.lines), key


def test_the_drawing_follows_the_slider() -> None:
    scene = next(s for s in bundled(LESSONS[0]).scenes if s.name == "faster-thinner")
    slow, fast = (Stage(scene, share=share).played(place(944.0)) for share in (0.1, 0.9))
    assert slow.drawn.markup != fast.drawn.markup
    assert [n.value for n in slow.numbers] != [n.value for n in fast.numbers]


def test_neighbouring_formers_of_the_first_lesson_are_drawn_at_one_scale(
    played: dict[tuple[str, str, float], Played],
) -> None:
    def metre(name: str) -> str:
        made = played[LESSONS[0], name, 944.0].drawn.markup
        return re.findall(r'class="ts-rule"', made) and re.search(r'd="M2 \S+L2 \S+L2 \S+L(\S+) ', made)[1]  # type: ignore[index]

    assert metre("flat-wire") == metre("faster-thinner") == metre("open-the-breast-roll")


def test_a_file_is_refused_with_all_its_faults_each_with_its_line() -> None:
    with pytest.raises(Refused) as refused:
        read(BROKEN, "broken.lesson.toml")
    faults = refused.value.faults
    fields = [fault.field for fault in faults]
    for wanted in ("colour", "format", "scene.1.show", "scene.1.numbers", "scene.1.say", "scene.2.title",
                   "scene.2.machine", "scene.2.name", "scene.2.ask", "scene.2.ask.tolerance"):  # fmt: skip
        assert wanted in fields
    assert all(fault.file == "broken.lesson.toml" and fault.remedy for fault in faults)
    assert next(f.line for f in faults if f.field == "scene.1.show") == 7


def test_a_scene_whose_machine_no_longer_runs_says_so_and_spares_the_others() -> None:
    text = COMMENTED.replace('show = "words"\nsay', 'show = "former"\nmachine = "gone"\nsay')
    told = check(read(text))
    assert [f.field.split(",")[0] for f in told] == ["scene.1 (one)"]


def test_a_part_that_is_not_drawn_cannot_be_lit() -> None:
    text = COMMENTED.replace('show = "words"\nsay', 'show = "former"\nmachine = "facial-roll"\nlight = "couch"\nsay')
    told = check(read(text))
    assert "forming roll" in told[0].remedy


def test_changes_keep_every_comment() -> None:
    text = write.worded(COMMENTED, 0, {"say": "Another word.", "notes": "Two\nlines."})
    text = write.with_scene(text, {"name": "one", "title": "Third", "show": "words", "set": {}})
    text = write.headed(text, "Ours")
    for comment in ("# what it is for", "# the first", "# short", "# the second"):
        assert comment in text
    made = read(text)
    assert (made.title, [s.name for s in made.scenes]) == ("Ours", ["one", "two", "one-2"])
    assert (made.scenes[0].say, made.scenes[0].notes) == ("Another word.", "Two\nlines.")
    turned = read(write.moved(text, 2, 0))
    assert [s.name for s in turned.scenes] == ["one-2", "one", "two"]
    assert "# short" in write.moved(text, 2, 0)
    assert [s.name for s in read(write.without(text, 1)).scenes] == ["one", "one-2"]


def test_a_lesson_is_found_by_the_beginning_of_its_title() -> None:
    assert found("why tissue machines") == LESSONS[0]
    assert found("Why tissue machines look") == LESSONS[0]
    with pytest.raises(Refused, match="no such lesson"):
        found("the history of everything")


def test_numbers_of_lessons_are_named_once_and_worked_out() -> None:
    assert len(set(names())) == len(names())
    assert set(FACTS) < set(names())
    stage = Stage(bundled(LESSONS[0]).scenes[2])
    assert stage.subject is not None
    assert working(stage.subject, "tissue_litres")


def test_the_command_lists_begins_and_checks_lessons(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["lesson", "list"]) == 0
    assert "Why tissue machines look as they do" in capsys.readouterr().out
    mine = tmp_path / "mine.lesson.toml"
    assert status(["lesson", "new", str(mine), "--title", "Mine"]) == 0
    assert status(["lesson", "new", str(mine)]) == 1
    assert status(["lesson", "check", str(mine)]) == 0
    mine.write_text(mine.read_text().replace("facial-roll", "gone"))
    assert status(["lesson", "check", str(mine)]) == 1
    assert "scene.1" in capsys.readouterr().err
