"""What a part must do and may do, as the part says it; `machine/limits.py` searches the speed at which it fails.

A limit nobody gave is "not known", never unlimited; none is ever derived here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from thinstock.words.figures import NONE, figure
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Given
    from thinstock.machine.nips import Nip
    from thinstock.machine.parts import Parts

Of = Callable[["Parts"], Num]
"""A number out of what the parts did, for one case or many."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Named:
    """A row of the table of limits by its ids; the words are phrases of `limits.toml`."""

    id: str
    """The part that has the limit: "fan_pump_flow", "press_load"."""
    of: str = ""
    """The nip it belongs to, where there may be several."""
    task: str = ""
    """What is asked of it; empty: the task of its own id."""
    remark: str = ""
    """A remark's id; empty: none."""
    reason: str = ""
    """What fills the remark."""

    @property
    def key(self) -> str:
        """One name for the row: its id, with whose it is."""
        return f"{self.id}:{self.of}" if self.of else self.id

    @property
    def part(self) -> str:
        """The part in words."""
        return phrase(f"limits.part.{self.id}", of=self.of)

    @property
    def duty(self) -> str:
        """The duty in words."""
        return phrase(f"limits.duty.{self.task or self.id}")

    @property
    def note(self) -> str:
        """The remark in words."""
        return phrase(f"limits.note.{self.remark}", reason=self.reason) if self.remark else ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Limit(Named):
    """One part's speed limit."""

    speed: float | None = None
    """m/s: the highest, where there is none the lowest; None where it is not known, does not limit or never holds."""
    margin: float | None = None
    """Limit speed over present speed, less 1; negative where the present speed is beyond it."""
    speed_low: float | None = None
    """Below it the part does not do its duty, m/s; None where none was found."""
    speed_high: float | None = None
    """Above it the part does not do its duty, m/s; None where none was found."""
    binding: bool = False
    scope: str
    """What `speed` is: highest, lowest, window, none or not known."""
    status: str
    """Status of the limit: nameplate, certificate, judged, computed, common practice, not given ..."""
    value: float | None = None
    """What the part does at the present speed, SI, in the unit of `word`."""
    bound: float | None = None
    share: float | None = None
    """How much of its bound the part uses at the present speed: above 1 it is over; None where there is no number."""
    over: bool = False
    """Whether it is over its limit at the present speed."""
    word: str = ""

    @property
    def used(self) -> str:
        """How much of its limit it uses now, in per cent."""
        return NONE if self.share is None else figure(100 * self.share, 3)


@dataclass(frozen=True, kw_only=True, eq=False)
class Duty(Named):
    """What a part does at a speed, what it may do, and how far it is from failing (margin positive: fine)."""

    value: Of
    bound: Num
    margin: Of
    word: str
    status: str
    dryer: str = ""
    """"" without the dryer, "bound" with the held variable at its bound, "held" with the reel dryness held."""
    upstream: bool = False
    """True where it does not need a formed sheet."""
    always: bool = False
    """True where its margin says by itself that no sheet is formed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fixed(Named):
    """A limit that needs no search: a lowest or a rated speed, the window of practice, or a load that hangs on none."""

    value: Of
    bound: Of | None
    """None where nobody gave it."""
    scope: str
    """lowest, highest, window or none: what it is where its bound is given."""
    word: str
    status: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Asked:
    """What a part is told when it is asked for its limits."""

    place: str
    """Its address in the machine."""
    given: Mapping[str, Given]
    limit_of: Callable[[str], Num]
    """The value at an address."""
    width: Num
    speed: Num
    holder: str
    """What holds the reel dryness."""
    reel_dryness: Num

    def at(self, place: str) -> Asked:
        """The same for another place."""
        return dataclasses.replace(self, place=place)

    def status(self, field: str, default: str) -> str:
        """How a limit is known."""
        given = self.given.get(f"{self.place}.{field}")
        return given.status if given is not None and given.status else default

    def duty(
        self, id: str, word: str, bound: Num, *, value: Of, margin: Of, status: str, dryer: str = "", remark: str = ""
    ) -> Duty:
        """A duty with a margin of its own, which says by itself where no sheet is formed if it has no dryer."""
        return Duty(
            id=id, word=word, bound=bound, value=value, margin=margin, status=status, dryer=dryer, remark=remark
        )  # fmt: skip

    def capacity(
        self, id: str, field: str, word: str, value: Of, *, task: str = "", dryer: str = "", upstream: bool = False
    ) -> Duty:
        """A capacity somebody gave, or one of which only the present use is known."""
        bound = self.limit_of(f"{self.place}.{field}")
        given = bound is not None
        return Duty(
            id=id, task=task, value=value, bound=bound, word=word, dryer=dryer, upstream=upstream,
            margin=(lambda parts: bound - value(parts)) if given else (lambda parts: -1.0),
            status=self.status(field, "judged") if given else "not given",
        )  # fmt: skip

    def least(self, id: str, field: str, word: str, value: Of) -> Fixed:
        """A least flow: below some speed it is not reached."""
        bound = self.limit_of(f"{self.place}.{field}")
        given = bound is not None
        return Fixed(
            id=id, value=value, bound=(lambda parts: bound) if given else None, scope="lowest", word=word,
            status=self.status(field, "judged"), remark="lowest" if given else "",
        )  # fmt: skip

    def rated(self, field: str) -> Fixed:
        """The speed a part is rated for."""
        bound = self.limit_of(f"{self.place}.{field}")
        return Fixed(
            id="rated_speed", value=lambda parts: self.speed, scope="highest", word="speed",
            bound=(lambda parts: bound) if bound is not None else None, status=self.status(field, "nameplate"),
        )  # fmt: skip

    def line_load(self, nip: Nip) -> Fixed:
        """The line load of a nip: what the certificate says, or not checked."""
        bound = nip.line_load_limit
        where = dataclasses.replace(self, place=f"{self.place}.nip.{nip.name.replace(' ', '_')}")
        return Fixed(
            id="press_load", of=nip.name, task="press_load" if nip.on_yankee else "press_load_own",
            value=lambda parts: nip.line_load, bound=(lambda parts: bound) if bound is not None else None,
            scope="none", word="line_load", status=where.status("line_load_limit", "certificate"),
            remark="no_speed" if bound is not None else "load_not_checked",
        )  # fmt: skip
