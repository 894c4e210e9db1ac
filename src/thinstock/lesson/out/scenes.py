"""All scenes of a lesson as records with drawings that stand by themselves, for paper, slides and clips."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from thinstock.formula.label import worksheet
from thinstock.lesson.model import Lesson, Scene
from thinstock.lesson.played import Stage
from thinstock.lesson.record import answer_record, scene_record
from thinstock.lesson.subject import Files
from thinstock.words.figures import HELD_TOGETHER


@dataclass(frozen=True, kw_only=True)
class Out:
    """One scene to be taken away."""

    scene: Scene
    record: dict[str, Any]
    answer: dict[str, Any] | None

    @property
    def answer_text(self) -> str:
        """The answer in a few words."""
        if self.answer is None:
            return ""
        return f"{self.answer['text']}{HELD_TOGETHER}{self.answer['unit']}".strip(HELD_TOGETHER)


def inside(content: bytes) -> str:
    """A picture carried by the drawing itself."""
    return "data:image/png;base64," + base64.b64encode(content).decode("ascii")


def scenes(
    lesson: Lesson, files: Files | None, width: float, theme: str = "print", *, hidden: bool = False
) -> Iterator[Out]:
    """Every scene at its own place of the slider; what answers its question is open, or hidden where asked."""
    for scene in lesson.scenes:
        with worksheet(False):
            made = scene_record(scene, files, width, hidden=hidden, image=inside, theme=theme)
        yield Out(scene=scene, record=made, answer=answer_record(Stage(scene, files).answer()))
