"""A lesson as it stands in its file: scenes in order, each with a machine, a show and words, and no number of its own.

Everything a scene shows is worked out by its machine when the scene is played; see `played`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from thinstock.errors import Fault

FORMAT = 1
SHOWS = (
    "former", "press", "machine", "sheet", "light", "water", "price", "ladder", "side by side", "number", "words",
    "question", "over time",
)  # fmt: skip
"""Kinds of show."""
PACES = ("low", "usual", "high")
"""Speeds of a former's own time, by the names of the library's eras."""
MOST_NUMBERS, MOST_WORDS, LONGEST_SENTENCE = 3, 40, 15
"""Of one scene: numbers, words for the class, words in one of its sentences."""
MOST_SCENES, LONGEST_TEXT = 60, 4000


@dataclass(frozen=True, kw_only=True)
class Source:
    """Which machine a scene runs, and how."""

    machine: str = ""
    former: str = ""
    press: str = ""
    pace: str = ""
    set: Mapping[str, str] = field(default_factory=dict)
    light: str = ""
    label: str = ""


@dataclass(frozen=True, kw_only=True)
class Move:
    """The one slider of a scene."""

    address: str
    first: str
    last: str
    at: str = ""
    grades: tuple[str, ...] = ()
    """Grades whose usual consistency is marked on its scale."""


@dataclass(frozen=True, kw_only=True)
class Ask:
    """The question of a scene."""

    text: str
    answer: str = ""
    """Name of the number that answers it; else one of the choices does."""
    choices: tuple[str, ...] = ()
    right: int = 0
    """The right choice, counted from 1."""
    tolerance: float = 0.2


@dataclass(frozen=True, kw_only=True)
class Scene:
    """One scene of a lesson."""

    name: str
    title: str
    show: str
    source: Source
    beside: Source | None = None
    part: str = "former"
    """What stands side by side: "former", "press" or "machine"."""
    grades: tuple[str, ...] = ()
    of: str = ""
    """The number of a scene that shows one."""
    move: Move | None = None
    numbers: tuple[str, ...] = ()
    say: str = ""
    practice: str = ""
    """What is common practice and comes out of no formula here."""
    unknown: str = ""
    """What the physics does not show."""
    notes: str = ""
    ask: Ask | None = None


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """A lesson."""

    title: str
    about: str
    minutes: float
    scenes: tuple[Scene, ...]
    name: str = ""
    """Of the bundled lesson or of its file."""
    faults: tuple[Fault, ...] = ()
