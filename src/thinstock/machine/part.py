"""The contract of a part: everything a machine asks of what it is made of, documented here once.

A machine is an ordered list of parts (`machine/line.py`). Each is data (fields with a declaration) and one method,
`run(web, around)`: it takes the web as it arrives, gives the web as it leaves, and a `Done`, which says what the part
did. Nothing outside a part knows what it is inside: streams, users of energy, stations, notes, limits, outline and the
profile along it come from the part, next to its physics.

Smaller kinds (an element of a former, a slot, a nip, a roll surface) are `Kind`s: they have no `run` of their own but
the same hooks. A kind that leaves a hook out says why in `WITHOUT`; a test walks all of them. What every kind must give
(`build` of an element, `outline`) is owed: a class that forgets it is refused where it is written, with what to add.

To add a forming element: one file in `machine/elements/` with the class, its `build` and its `outline`.
To add a part (a dryer, a save-all): a class with `run`, its `Done`, and its place in `Machine.line`.
"""

from __future__ import annotations

import inspect
from abc import abstractmethod
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, TypeVar

from thinstock.words.quantity import Fields, Num

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed
    from thinstock.machine.notes import Notes
    from thinstock.machine.told import Drawn, Station, Stream, Use
    from thinstock.machine.web import Around, Web


F = TypeVar("F", bound=Callable[..., object])


def or_without(hook: F) -> F:
    """A hook that a kind must have, or say in `WITHOUT` why not."""
    hook.__dict__["without"] = True
    return hook


def missing(kind: type, hook: str = "outline") -> str:
    """What to add to a kind of part that neither has a hook nor says why not."""
    declared = getattr(kind, hook, None)
    asked = ", ".join(inspect.signature(declared).parameters) if declared else "self, place"
    need = f"{kind.__name__} has no {hook}: give it `{hook}({asked})`"
    if declared and _abstract(kind, hook):
        return f"{need}: {inspect.getdoc(declared)}"
    return f'{need} as its neighbours have, or say why in `WITHOUT = {{"{hook}": "..."}}`.'


class Hooked:
    """Whoever has hooks. A class that still owes one is refused when it is defined, unless it is a base of kinds."""

    WITHOUT: ClassVar[Mapping[str, str]] = {}
    """Hooks this kind does not have, and why: {"outline": "a free run shows as the fabric itself"}."""
    OWED: ClassVar[frozenset[str]] = frozenset()
    """Hooks that its kinds must have."""

    def __init_subclass__(cls, *, base: bool = False) -> None:
        """Refuse a kind that forgot a hook.

        Raises
        ------
        TypeError
            With the sentences that say what to add.
        """
        super().__init_subclass__()
        inherited = {name for one in cls.__bases__ for name in getattr(one, "OWED", ())}
        cls.OWED = frozenset(name for name in inherited | set(vars(cls)) if _owed(cls, name))
        forgotten = sorted(name for name in cls.OWED if _abstract(cls, name) or name not in cls.WITHOUT)
        if forgotten and not base:
            raise TypeError(" ".join(missing(cls, name) for name in forgotten))


def _abstract(kind: type, hook: str) -> bool:
    return getattr(getattr(kind, hook), "__isabstractmethod__", False) is True


def _owed(kind: type, hook: str) -> bool:
    return _abstract(kind, hook) or getattr(getattr(kind, hook), "without", False) is True


class Kind(Hooked, Fields, base=True):
    """Something of a machine that may be of several kinds, with the hooks of a part.

    Besides these it says in `outline(self, place)` what it looks like from the tending side; what a place is differs
    from kind to kind (`machine/outlines/`), so each kind declares it with its own.
    """

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """What it must do and may do: duties to be searched for a speed, and limits that do not hang on speed."""
        return ()

    def cautions(self) -> Iterable[str]:
        """Keys of `words/cautions.toml` that go with it."""
        return ()


class Part(Kind, base=True):
    """A part of the line."""

    @abstractmethod
    def run(self, web: Web, around: Around) -> tuple[Web, Done]:
        """The web as it leaves, and what was done to it. Pure: the same for one case and for arrays of cases."""

    def places(self) -> Iterable[str]:
        """Names of its stations that are listed also where no sheet comes."""
        return ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Done(Hooked, base=True):
    """What a part did: its own results as fields, and what follows from them. Every hook may be left out."""

    into: Web
    out: Web
    around: Around
    """What the part knew besides the web."""

    STAGE: ClassVar[str] = ""
    """The stage that pays for the water it takes; empty where it takes none."""

    def within(self) -> Mapping[str, Done]:
        """Parts inside this one, by their place in the line."""
        return {}

    def onward(self, around: Around) -> Around:
        """What parts behind it may know besides the web."""
        return around

    def values(self) -> Mapping[str, Num]:
        """Its numbers among the results (named in numbers.toml), each the very object its relation returned."""
        return {}

    def stations(self) -> Iterable[Station]:
        """The sheet at each place inside it."""
        return ()

    def streams(self) -> Iterable[Stream]:
        """Streams into and out of its nodes; a node closes in fibre, fines, water, air and heat."""
        return ()

    def air(self) -> Iterable[Drawn]:
        """Air it draws through vacuum pumps."""
        return ()

    def consumers(self) -> Iterable[Use]:
        """Its users of electricity, steam and gas."""
        return ()

    def fresh_water(self) -> Iterable[tuple[Num, Num]]:
        """Fresh water it takes, kg/(s m), and the temperature it is warmed to."""
        return ()

    def notes(self, notes: Notes) -> None:
        """Tell what is unusual, assumed, beyond a limit or not seen."""

    def along(self) -> object:
        """Its profile in machine direction, for charts; None where there is none."""
        return None
