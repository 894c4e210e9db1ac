"""How a scene is divided, px at a height of 768: one division for the stage, for paper, for slides and for clips."""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.drawing import typeface
from thinstock.lesson.model import Scene
from thinstock.lesson.wording import lines_of

HEIGHT, NARROW, WIDEST = 768.0, 1024.0, 1820.0
MARGIN, GAP = 40.0, 8.0
TITLE, QUESTION, CHOICES, SLIDER, NUMBERS, LINE, REMARK, FOOT = 52.0, 34.0, 30.0, 74.0, 94.0, 31.0, 23.0, 34.0
TOP = 16.0
SAID, ASIDE, ASKED, HEAD, FIGURE = 22.0, 16.0, 24.0, 38.0, 40.0
"""Sizes of what is said, of remarks, of the question, of the title, of a number."""
LEAST = 150.0
LARGE, LARGE_LINE = 36.0, 54.0
"""Of scenes that are nothing but words."""


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Heights of the parts of a scene, from above; none is nothing."""

    width: float
    title: float
    question: float
    choices: float
    drawing: float
    slider: float
    numbers: float
    lines: float
    remarks: float
    foot: float = FOOT

    @property
    def room(self) -> float:
        """Width inside the margins."""
        return self.width - 2 * MARGIN

    def record(self) -> dict[str, float]:
        """For the page."""
        return {name: round(float(value), 2) for name, value in self.__dict__.items()}


def rows(text: str, size: float, room: float) -> int:
    """Rows that words take."""
    return len(typeface.wrapped(text, size, room)) if text else 0


def layout(scene: Scene, width: float = NARROW, remarks: tuple[str, ...] = ()) -> Layout:
    """The division of a scene on a screen of this width."""
    held = min(max(width, NARROW), WIDEST)
    room = held - 2 * MARGIN
    ask = scene.ask
    size, high = (LARGE, LARGE_LINE) if scene.show == "words" else (SAID, LINE)
    said = sum(max(rows(line, size, room), 1) for line in lines_of(scene.say))
    marked = rows(" ".join(remarks), ASIDE, room)
    parts = {
        "title": TITLE,
        "question": 0.0 if ask is None or scene.show == "question" else QUESTION * rows(ask.text, ASKED, 0.8 * room),
        "choices": CHOICES if ask is not None and ask.choices and scene.show != "question" else 0.0,
        "slider": SLIDER if scene.move is not None else 0.0,
        "numbers": NUMBERS if scene.numbers else 0.0,
        "lines": high * said,
        "remarks": REMARK * marked,
    }
    used = TOP + FOOT + sum(height + GAP for height in parts.values() if height)
    return Layout(width=held, drawing=max(HEIGHT - used - GAP, LEAST), **parts)
