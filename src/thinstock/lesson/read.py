"""Reads a lesson file and tells everything that is wrong with it in one go, each fault with its line and what helps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from thinstock.case import text as reading
from thinstock.case.lines import Key, lines_of
from thinstock.errors import Fault, Refused
from thinstock.files.read import foreign
from thinstock.lesson import model
from thinstock.lesson.model import Ask, Lesson, Move, Scene, Source
from thinstock.lesson.named import known_number, names
from thinstock.lesson.wording import counted, slots_of
from thinstock.lesson.wording import lines_of as sentences_of
from thinstock.library import KEYS, grade_names
from thinstock.machine.events import looks_like_event
from thinstock.studies.exchange import formers, presses
from thinstock.words import units
from thinstock.words.address import nearest
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

TOP = ("format", "title", "about", "minutes", "scene")
SOURCE = ("machine", "former", "press", "pace", "set", "light", "label")
SCENE = ("name", "title", "show", *SOURCE, "beside", "part", "grades", "of", "move", "numbers", "say", "practice",
         "unknown", "notes", "ask")  # fmt: skip
MOVE = ("address", "from", "to", "at", "grades")
ASK = ("text", "answer", "choices", "right", "tolerance")
PARTS = ("former", "press", "machine")
WITHOUT_MACHINE = ("words", "light")
"""Shows that need no machine."""


def read(content: str, file: str = "lesson", name: str = "") -> Lesson:
    """The lesson of a text; all its faults are refused together."""
    with foreign(file):
        data, mended, faults = reading.parsed(content, file)
        reader = _Reader(file, lines_of(mended), faults)
        made = reader.lesson(data)
    if reader.faults:
        raise Refused(reader.faults)
    assert made is not None
    return replace(made, name=name or file)


class _Reader:
    """One reading."""

    def __init__(self, file: str, places: dict[Key, int], faults: list[Fault]) -> None:
        self.file, self.places, self.faults = file, places, list(faults)

    def wrong(self, key: str, at: Key, value: str = "", **slots: object) -> None:
        """Note a fault at its place."""
        said = ".".join(str(part + 1 if isinstance(part, int) else part) for part in at)
        line = next((self.places[at[:n]] for n in range(len(at), 0, -1) if at[:n] in self.places), None)
        self.faults.append(replace(fault_in(f"lesson.fault.{key}", said, value, **slots), file=self.file, line=line))

    # -- values --------------------------------------------------------------------------------------------------------

    def fields(self, table: Mapping[str, Any], known: tuple[str, ...], at: Key) -> None:
        """What is no field is refused with the nearest."""
        for name in table:
            if name not in known:
                near = ", ".join(nearest(name, list(known)) or known)
                self.wrong("field", (*at, name), near=near)

    def text(self, table: Mapping[str, Any], name: str, at: Key, *, needed: bool = False) -> str:
        """A text of a table."""
        value = table.get(name, "")
        if not isinstance(value, str) or len(value) > model.LONGEST_TEXT:
            self.wrong("text", (*at, name), repr(value)[:60], most=model.LONGEST_TEXT)
            return ""
        if needed and not value.strip():
            self.wrong("needed", (*at, name))
        return value.strip()

    def texts(self, table: Mapping[str, Any], name: str, at: Key) -> tuple[str, ...]:
        """A list of texts."""
        value = table.get(name, [])
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            self.wrong("texts", (*at, name), repr(value)[:60])
            return ()
        return tuple(value)

    def table(self, table: Mapping[str, Any], name: str, at: Key) -> dict[str, Any] | None:
        """A table inside a table."""
        value = table.get(name)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.wrong("table", (*at, name), repr(value)[:60])
            return None
        return value

    def one_of(self, value: str, known: tuple[str, ...], at: Key) -> None:
        """Refuse what is not one of some words."""
        if value and value not in known:
            self.wrong("one_of", at, value, known=", ".join(nearest(value, list(known)) or known))

    # -- the lesson ----------------------------------------------------------------------------------------------------

    def lesson(self, data: dict[str, Any]) -> Lesson | None:
        """The whole lesson, as far as it can be read."""
        self.fields(data, TOP, ())
        if data.get("format") != model.FORMAT:
            self.wrong("format", ("format",), str(data.get("format", "")), format=model.FORMAT)
        minutes = data.get("minutes", 45)
        if isinstance(minutes, bool) or not isinstance(minutes, int | float) or not 1 <= minutes <= 600:
            self.wrong("minutes", ("minutes",), str(minutes))
            minutes = 45
        rows = data.get("scene", [])
        if not isinstance(rows, list) or not 1 <= len(rows) <= model.MOST_SCENES:
            self.wrong("scenes", ("scene",), most=model.MOST_SCENES)
            rows = []
        scenes = [self.scene(row, ("scene", i)) for i, row in enumerate(rows) if isinstance(row, dict)]
        self._twice(scenes)
        return Lesson(
            title=self.text(data, "title", (), needed=True), about=self.text(data, "about", ()),
            minutes=float(minutes), scenes=tuple(scenes),
        )  # fmt: skip

    def _twice(self, scenes: list[Scene]) -> None:
        seen: set[str] = set()
        for i, scene in enumerate(scenes):
            if scene.name in seen:
                self.wrong("twice", ("scene", i, "name"), scene.name)
            seen.add(scene.name)

    def scene(self, row: dict[str, Any], at: Key) -> Scene:
        """One scene."""
        self.fields(row, SCENE, at)
        show, part = self.text(row, "show", at, needed=True), self.text(row, "part", at) or "former"
        self.one_of(show, model.SHOWS, (*at, "show"))
        self.one_of(part, PARTS, (*at, "part"))
        source = self.source(row, at)
        if not source.machine and show not in WITHOUT_MACHINE:
            self.wrong("machine", (*at, "machine"), show)
        beside = self.table(row, "beside", at)
        if show == "side by side" and beside is None:
            self.wrong("beside", (*at, "beside"))
        if beside is not None:
            self.fields(beside, SOURCE, (*at, "beside"))
        grades, of = self.texts(row, "grades", at), self.text(row, "of", at)
        for grade in grades:
            self.one_of(grade, tuple(grade_names()), (*at, "grades"))
        if show == "light" and not grades:
            self.wrong("grades", (*at, "grades"))
        if show == "over time":
            self.event(of, (*at, "of"))
        elif show == "number" or of:
            self.number(of, (*at, "of"))
        say = self.text(row, "say", at)
        self._said(say, (*at, "say"), most=model.MOST_WORDS)
        for name in ("practice", "unknown"):
            self._said(self.text(row, name, at), (*at, name))
        return Scene(
            name=self.text(row, "name", at, needed=True), title=self.text(row, "title", at, needed=True), show=show,
            source=source, beside=None if beside is None else self.source(beside, (*at, "beside")), part=part,
            grades=grades, of=of, move=self.move(row, at), numbers=self.numbers(row, at), say=say,
            practice=self.text(row, "practice", at), unknown=self.text(row, "unknown", at),
            notes=self.text(row, "notes", at), ask=self.ask(row, at),
        )  # fmt: skip

    def source(self, row: Mapping[str, Any], at: Key) -> Source:
        """Machine and how it is run."""
        given = {name: self.text(row, name, at) for name in SOURCE if name != "set"}
        self.one_of(given["former"], (*formers(), *KEYS), (*at, "former"))
        self.one_of(given["press"], tuple(presses()), (*at, "press"))
        self.one_of(given["pace"], model.PACES, (*at, "pace"))
        changes = self.table(row, "set", at) or {}
        for where, value in changes.items():
            if not isinstance(value, str):
                self.wrong("set", (*at, "set", where), repr(value)[:60])
        return Source(set={k: v for k, v in changes.items() if isinstance(v, str)}, **given)

    def move(self, row: Mapping[str, Any], at: Key) -> Move | None:
        """The slider."""
        table = self.table(row, "move", at)
        if table is None:
            return None
        here = (*at, "move")
        self.fields(table, MOVE, here)
        grades = self.texts(table, "grades", here)
        for grade in grades:
            self.one_of(grade, tuple(grade_names()), (*here, "grades"))
        first, last = self.text(table, "from", here, needed=True), self.text(table, "to", here, needed=True)
        for name, value in (("from", first), ("to", last), ("at", self.text(table, "at", here))):
            if value and not _has_number(value):
                self.wrong("amount", (*here, name), value)
        return Move(
            address=self.text(table, "address", here, needed=True), first=first, last=last,
            at=self.text(table, "at", here), grades=grades,
        )  # fmt: skip

    def numbers(self, row: Mapping[str, Any], at: Key) -> tuple[str, ...]:
        """At most three numbers."""
        wanted = self.texts(row, "numbers", at)
        if len(wanted) > model.MOST_NUMBERS:
            self.wrong("numbers", (*at, "numbers"), str(len(wanted)), most=model.MOST_NUMBERS)
        for name in wanted:
            self.number(name, (*at, "numbers"))
        return wanted

    def number(self, name: str, at: Key) -> None:
        """Refuse what is no number of a machine."""
        if not known_number(name):
            near = nearest(name, list(names())) if name else []
            self.wrong("number", at, name, near=", ".join(near) or phrase("lesson.many_numbers"))

    def event(self, said: str, at: Key) -> None:
        """Refuse what is no event."""
        if not looks_like_event(said):
            self.wrong("event", at, said)

    def ask(self, row: Mapping[str, Any], at: Key) -> Ask | None:
        """The question."""
        table = self.table(row, "ask", at)
        if table is None:
            return None
        here = (*at, "ask")
        self.fields(table, ASK, here)
        answer, choices, right = (
            self.text(table, "answer", here),
            self.texts(table, "choices", here),
            table.get("right"),
        )
        if bool(answer) == bool(choices):
            self.wrong("answer", here)
        if answer:
            self.number(answer, (*here, "answer"))
        if choices and (not isinstance(right, int) or not 1 <= right <= len(choices) <= 6):
            self.wrong("right", (*here, "right"), str(right), most=len(choices))
            right = 1
        tolerance = self._share(self.text(table, "tolerance", here) or "20 %", (*here, "tolerance"))
        text = self.text(table, "text", here, needed=True)
        self._said(text, (*here, "text"), long=25)
        return Ask(text=text, answer=answer, choices=choices, right=int(right or 0), tolerance=tolerance)

    def _share(self, text: str, at: Key) -> float:
        try:
            found = units.parse(text, "fraction")
        except units.UnitError:
            found = 0.0
        if not 0 < found <= 1:
            self.wrong("tolerance", at, text)
            return 0.2
        return float(found)

    def _said(self, text: str, at: Key, *, most: int = 0, long: int = model.LONGEST_SENTENCE) -> None:
        """Words that a class reads once, and the numbers they ask for."""
        try:
            wanted = slots_of(text)
        except ValueError:
            self.wrong("braces", at, text[:60])
            return
        for name in wanted:
            self.number(name, at)
        if most and counted(text) > most:
            self.wrong("words", at, str(counted(text)), most=most)
        for line in sentences_of(text):
            if counted(line) > long:
                self.wrong("sentence", at, line[:60], count=counted(line), most=long)


def _has_number(text: str) -> bool:
    head = text.split(" ")[0]
    try:
        float(head)
    except ValueError:
        return False
    return True
