"""What the parts of a run did, by their place in the line; those every machine has come with their own type."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, TypeVar

from thinstock.machine.dryer import Dried, Drying
from thinstock.machine.forming import Formed
from thinstock.machine.headbox import Delivered
from thinstock.machine.loop import Circulated
from thinstock.machine.part import Done
from thinstock.machine.press import Pressed
from thinstock.machine.reel import Wound
from thinstock.machine.vacuum import Vacuumed

if TYPE_CHECKING:
    from thinstock.machine.circuit_closed import Closed

D = TypeVar("D", bound=Done)


class Parts(Mapping[str, Done]):
    """The `Done` of each part: `parts.press` typed, `parts["press"]` by name; a part that no sheet reached is absent.

    `line` holds those of the line itself, in its order; parts inside a circuit are found by their name as well.
    """

    def __init__(self, line: Mapping[str, Done]) -> None:
        self.line = line
        self._all = {name: one for place, done in line.items() for name, one in (*done.within().items(), (place, done))}

    def __getitem__(self, name: str) -> Done:
        return self._all[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all)

    def __len__(self) -> int:
        return len(self._all)

    def _typed(self, name: str, kind: type[D]) -> D:
        found = self._all[name]
        assert isinstance(found, kind)
        return found

    @property
    def loop(self) -> Circulated:
        """The white-water loop."""
        return self._typed("loop", Circulated)

    @property
    def headbox(self) -> Delivered:
        """Fan pump and headbox."""
        return self._typed("headbox", Delivered)

    @property
    def forming(self) -> Formed:
        """The former."""
        return self._typed("forming", Formed)

    @property
    def vacuum(self) -> Vacuumed:
        """The vacuum section."""
        return self._typed("vacuum", Vacuumed)

    @property
    def press(self) -> Pressed:
        """The press."""
        return self._typed("press", Pressed)

    @property
    def dryer(self) -> Drying:
        """The dryer, of whatever kind."""
        return self._typed("dryer", Drying)  # type: ignore[type-abstract]  # two kinds, told apart by nobody here

    @property
    def yankee(self) -> Dried:
        """Yankee and hood; KeyError or AssertionError on a machine that dries otherwise."""
        return self._typed("dryer", Dried)

    @property
    def circuit(self) -> Closed:
        """The water circuits; KeyError where the file gives none."""
        from thinstock.machine.circuit_closed import Closed

        return self._typed("circuit", Closed)

    @property
    def reel(self) -> Wound:
        """The reel."""
        return self._typed("reel", Wound)
