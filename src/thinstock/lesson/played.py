"""A scene played: its machine run at the value of the slider, and everything that the stage then shows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from thinstock.errors import Fault, Refused, ThinstockError
from thinstock.lesson.model import Lesson, Scene, Source
from thinstock.lesson.number import Number, number, working
from thinstock.lesson.shows import course, light, machinery, plain, rungs, shares
from thinstock.lesson.shows.canvas import Drawn, Place
from thinstock.lesson.slider import Slider, slider, with_brackets
from thinstock.lesson.subject import Files, Subject, machine_of
from thinstock.lesson.wording import filled, lines_of, slots_of
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

ALONE = {"former": "former", "press": "press", "machine": "machine"}
"""Shows of a part of one machine."""


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What answers the question of a scene."""

    text: str
    amount: float | None
    """None where a choice answers."""
    unit: str
    right: int
    tolerance: float
    working: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A number in its cell: one value, or left and right of two machines."""

    value: str
    unit: str
    label: str
    aside: str
    indicator: bool


@dataclass(frozen=True, kw_only=True)
class Played:
    """Everything of a scene at one value of its slider."""

    scene: Scene
    drawn: Drawn
    numbers: tuple[Shown, ...]
    lines: tuple[str, ...]
    slider: Slider | None
    at: float
    """Place of the slider."""
    question: str
    choices: tuple[str, ...]
    remarks: tuple[tuple[str, str], ...]
    """Kind ("practice", "unknown", "indicator") and words of what is marked as such."""


class Stage:
    """A scene whose machines are at hand."""

    def __init__(self, scene: Scene, files: Files | None = None, share: float | None = None) -> None:
        self.scene, self.files = scene, files
        self.slider: Slider | None = None
        self.at = 0.0
        self.subject = self._subject(scene.source, share) if scene.source.machine else None
        self.beside = self._subject(scene.beside, share) if scene.beside is not None else None

    def _subject(self, source: Source, share: float | None) -> Subject:
        machine = _machine(source, self.files)
        move = self.scene.move
        if move is not None:
            if self.slider is None:
                self.slider = slider(move, machine)
                self.at = self.slider.share(self.slider.at) if share is None else min(max(share, 0.0), 1.0)
            machine = machine_of(source, self.files, {move.address: self.slider.text(self.at)})
        return Subject(machine, source.label, source.light)

    # -- what is shown -------------------------------------------------------------------------------------------------

    def played(self, place: Place, *, hidden: bool = False) -> Played:
        """Everything; the number that answers the question is hidden where asked."""
        scene, ask = self.scene, self.scene.ask
        marked = (
            None
            if self.slider is None or self.subject is None
            else with_brackets(self.slider, self.subject, scene.numbers)
        )
        secret = ask.answer if ask is not None and hidden else ""
        shown = tuple(self._shown(name, secret) for name in scene.numbers)
        return Played(
            scene=scene, drawn=self.drawn(place, secret), numbers=shown, lines=self._lines(scene.say, secret),
            slider=marked, at=self.at, question="" if ask is None else self._text(ask.text, secret),
            choices=() if ask is None else ask.choices, remarks=self.remarks(),
        )  # fmt: skip

    def drawn(self, place: Place, secret: str = "") -> Drawn:
        """The drawing."""
        scene, subject, beside = self.scene, self.subject, self.beside
        if scene.show == "light":
            return light.grades(scene.grades, place)
        if subject is None or scene.show in ("words", "question"):
            return plain.nothing()
        if scene.show in ALONE:
            return machinery.one(subject, place, ALONE[scene.show])
        if scene.show == "side by side" and beside is not None:
            return machinery.two(subject, beside, place, scene.part)
        if scene.show == "number":
            told = number(subject, scene.of), working(subject, scene.of)
            return plain.number(*told, place, hidden=scene.of == secret)
        if scene.show == "over time":
            return course.course(subject, scene.of, place)
        if scene.show == "water":
            return shares.water(subject, place, hidden=bool(secret))
        made = {"sheet": light.sheet, "price": shares.price, "ladder": rungs.ladder}
        return made[scene.show](subject, place)

    def _numbers(self, name: str) -> tuple[Number, ...]:
        return tuple(number(one, name) for one in (self.subject, self.beside) if one is not None)

    def _shown(self, name: str, secret: str) -> Shown:
        found = self._numbers(name)
        if not found:
            return Shown(value="", unit="", label=name, aside="", indicator=False)
        first = found[0]
        texts = [phrase("lesson.hidden") if name == secret else one.value for one in found]
        both = len(texts) == 2 and texts[0] != texts[1]
        value = phrase("lesson.pair", left=texts[0], right=texts[-1]) if both else texts[0]
        aside = first.aside
        if both and self.subject is not None and self.beside is not None:
            aside = phrase("lesson.pair", left=_short(self.subject), right=_short(self.beside))
        return Shown(
            value=value, unit=first.unit, label=first.label, aside=aside, indicator=any(n.indicator for n in found)
        )

    def _text(self, text: str, secret: str = "") -> str:
        names = slots_of(text)
        if not names or self.subject is None:
            return text
        known = {n: phrase("lesson.hidden") if n == secret else number(self.subject, n).said for n in names}
        return filled(text, known)

    def _lines(self, text: str, secret: str) -> tuple[str, ...]:
        return lines_of(self._text(text, secret))

    def remarks(self) -> tuple[tuple[str, str], ...]:
        """What is marked: common practice, what the physics does not show, indicators that are no limits."""
        scene, said = self.scene, phrase("lesson.stage.indicator")
        found = []
        if scene.practice:
            found.append(("practice", phrase("lesson.stage.practice", words=self._text(scene.practice))))
        if scene.unknown:
            found.append(("unknown", self._text(scene.unknown)))
        if any(one.indicator for name in scene.numbers for one in self._numbers(name)) and scene.unknown != said:
            found.append(("indicator", said))
        if scene.show in ("press", "machine") or (scene.show == "side by side" and scene.part == "press"):
            found.append(("care", phrase("lesson.stage.care")))
        return tuple(found)

    # -- what is asked -------------------------------------------------------------------------------------------------

    def asked(self) -> str:
        """The question in words."""
        return "" if self.scene.ask is None else self._text(self.scene.ask.text, self.scene.ask.answer)

    def answer(self) -> Answer | None:
        """The answer of the question, worked out by the machine."""
        ask = self.scene.ask
        if ask is None:
            return None
        if ask.choices:
            return Answer(text=ask.choices[ask.right - 1], amount=None, unit="", right=ask.right,
                          tolerance=0.0, working=())  # fmt: skip
        assert self.subject is not None
        found = number(self.subject, ask.answer)
        return Answer(
            text=found.value, amount=found.amount, unit=found.unit or found.label, right=0, tolerance=ask.tolerance,
            working=working(self.subject, ask.answer),
        )  # fmt: skip

    def workings(self) -> list[tuple[str, tuple[str, ...]]]:
        """Of every number on the scene its name and its working in three lines; of both machines if there are two."""
        shown = (self.scene.of,) if self.scene.of and self.scene.show != "over time" else ()
        names = dict.fromkeys((*self.scene.numbers, *shown))
        both = [one for one in (self.subject, self.beside) if one is not None]
        found: list[tuple[str, tuple[str, ...]]] = []
        for name in names:
            told = [(number(one, name), working(one, name), _short(one)) for one in both]
            if len({lines for _, lines, _ in told}) > 1:
                found += [(f"{n.label}: {n.said} ({who})", lines) for n, lines, who in told]
            else:
                found += [(f"{n.label}: {n.said}", lines) for n, lines, _ in told[:1]]
        return found

    def faults(self) -> list[Fault]:
        """What no longer works of a scene that can be read: numbers that its machine does not have."""
        found = []
        scene = self.scene
        wanted = [("numbers", name) for name in scene.numbers]
        wanted += [("say", name) for name in slots_of(scene.say)]
        if scene.ask is not None and scene.ask.answer:
            wanted.append(("ask.answer", scene.ask.answer))
        if scene.of and scene.show != "over time":
            wanted.append(("of", scene.of))
        for where, name in wanted:
            if self.subject is not None and not any(one.there for one in self._numbers(name)):
                found.append(fault_in("lesson.fault.no_value", where, name))
        return found


def _short(subject: Subject) -> str:
    return subject.label or subject.machine.forming.former


@lru_cache(maxsize=256)
def _bundled(source_key: tuple[Any, ...]) -> Any:
    given: dict[str, Any] = {k: dict(v) if k == "set" else v for k, v in source_key}
    return machine_of(Source(**given), None)


def _machine(source: Source, files: Files | None) -> Any:
    """The machine of a source before its slider."""
    from thinstock.case.library import machine_names

    if source.machine not in machine_names():
        return machine_of(source, files)
    key = {**source.__dict__, "set": tuple(source.set.items())}
    return _bundled(tuple(key.items()))


def check(lesson: Lesson, files: Files | None = None, *, drawings: bool = True) -> list[Fault]:
    """Every scene run as it will be; what no longer runs, by scene, and no other scene spared.

    Without drawings only the machines are run and the numbers looked for: a tenth of the time.
    """
    place = Place(width=944.0, height=340.0, image=lambda content: "")
    found: list[Fault] = []
    for i, scene in enumerate(lesson.scenes, start=1):
        try:
            stage = Stage(scene, files)
            if drawings:
                stage.played(place)
            stage.answer()
            told = stage.faults()
        except Refused as refused:
            told = list(refused.faults)
        except (ThinstockError, ArithmeticError, ValueError, KeyError) as error:
            told = [replace(fault_in("lesson.fault.runs_not", ""), value=str(error)[:120])]
        found += [replace(f, field=f"scene.{i} ({scene.name}), {f.field}".rstrip(", "), file=lesson.name) for f in told]
    return found


def amount_ok(answer: Answer, guess: float) -> bool:
    """Whether a guess counts as right."""
    if answer.amount is None or not math.isfinite(answer.amount):
        return False
    return abs(guess - answer.amount) <= answer.tolerance * abs(answer.amount) * (1 + 1e-9)
