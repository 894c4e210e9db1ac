"""The contract of a part: everything a machine asks of what it is made of, documented here once.

A machine is an ordered list of parts (`machine/line.py`). Each is data (fields with a declaration) and one method,
`run(web, around)`: it takes the web as it arrives, gives the web as it leaves, and a `Done`, which says what the part
did. Nothing outside a part knows what it is inside: streams, users of energy, stations, notes, limits, outline and the
profile along it come from the part, next to its physics.

Smaller kinds (an element of a former, a slot, a nip, a roll surface) are `Kind`s: they have no `run` of their own but
the same hooks. A kind that leaves a hook out says why in `WITHOUT`; a test walks all of them.

To add a forming element: one file in `machine/elements/` with the class, its `build` and its `outline`.
To add a part (a dryer, a save-all): a class with `run`, its `Done`, and its place in `Machine.line`.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from thinstock.words.quantity import Fields, Num

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed
    from thinstock.machine.notes import Notes
    from thinstock.machine.told import Drawn, Station, Stream, Use
    from thinstock.machine.web import Around, Web


class Kind(Fields):
    """Something of a machine that may be of several kinds, with the hooks of a part.

    Besides these it says in `outline(self, place)` what it looks like from the tending side; what a place is differs
    from kind to kind (`machine/outlines/`), so each kind declares it with its own.
    """

    WITHOUT: ClassVar[Mapping[str, str]] = {}
    """Hooks this kind does not have, and why: {"outline": "a free run shows as the fabric itself"}."""

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """What it must do and may do: duties to be searched for a speed, and limits that do not hang on speed."""
        return ()

    def cautions(self) -> Iterable[str]:
        """Keys of `words/cautions.toml` that go with it."""
        return ()


class Part(Kind):
    """A part of the line."""

    @abstractmethod
    def run(self, web: Web, around: Around) -> tuple[Web, Done]:
        """The web as it leaves, and what was done to it. Pure: the same for one case and for arrays of cases."""

    def places(self) -> Iterable[str]:
        """Names of its stations that are listed also where no sheet comes."""
        return ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Done:
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
