"""A scene played as plain data: what the stage, the offline file and other readers are given."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from thinstock.lesson.layout import layout
from thinstock.lesson.model import Lesson, Scene
from thinstock.lesson.played import Answer, Stage
from thinstock.lesson.shows.canvas import Place, framed
from thinstock.lesson.slider import Slider
from thinstock.lesson.subject import Files
from thinstock.words.figures import HELD_TOGETHER


def scene_record(
    scene: Scene, files: Files | None, width: float, *, share: float | None = None, hidden: bool = False,
    image: Callable[[bytes], str], theme: str = "page",
) -> dict[str, Any]:  # fmt: skip
    """Everything the stage shows of a scene at one place of its slider."""
    stage = Stage(scene, files, share)
    marked = tuple(words for _, words in stage.remarks())
    shape = layout(scene, width, marked)
    place = Place(width=shape.room, height=shape.drawing, image=image)
    played = stage.played(place, hidden=hidden)
    return {
        "name": scene.name, "title": scene.title, "show": scene.show, "layout": shape.record(),
        "drawing": framed(played.drawn.markup, place, played.drawn.alt, theme) if played.drawn.markup else "",
        "caption": played.drawn.caption, "numbers": [asdict(one) for one in played.numbers],
        "lines": list(played.lines),
        "slider": None if played.slider is None else slider_record(played.slider, played.at),
        "question": played.question, "choices": list(played.choices),
        "remarks": [list(one) for one in played.remarks],
        "asks": scene.ask is not None,
    }  # fmt: skip


def slider_record(slider: Slider, at: float) -> dict[str, Any]:
    """The slider of a scene."""
    return {
        "label": slider.label, "unit": slider.unit, "at": at, "value": slider.shown(at),
        "said": f"{slider.shown(at)}{HELD_TOGETHER}{slider.unit}", "ticks": [list(one) for one in slider.ticks],
        "marks": [list(one) for one in slider.marks], "brackets": [list(one) for one in slider.brackets],
    }  # fmt: skip


def answer_record(answer: Answer | None) -> dict[str, Any] | None:
    """What answers the question."""
    if answer is None:
        return None
    made = asdict(answer)
    made["working"] = list(answer.working)
    return made


def notes_record(lesson: Lesson) -> list[dict[str, Any]]:
    """What the trainer alone sees of every scene."""
    return [
        {"name": s.name, "title": s.title, "notes": s.notes, "asks": "" if s.ask is None else s.ask.text}
        for s in lesson.scenes
    ]
