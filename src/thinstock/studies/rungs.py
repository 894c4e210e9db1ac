"""What a ladder of formers says: the lowest consistencies and highest speeds of each, and what stops it first."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from thinstock import library
from thinstock.errors import Refused
from thinstock.machine.disturbed import Indicator
from thinstock.machine.forming import StabilityWindow
from thinstock.studies import trials
from thinstock.studies.reasons import Reasons
from thinstock.words.fault import fault_in

FIRST = "flat_wire"
ENDS = ("lowest", "lowest_slow", "lowest_packed")


@dataclass(frozen=True, kw_only=True)
class Lowest:
    """How dilute a former could run at one speed and one resistance of the mat."""

    consistency: float | None
    """Lowest that the machine can supply and that still drains; None where there is none."""
    first: str
    """What stops further dilution: "drainage" or what supplies the jet."""
    drainage: float | None
    """Lowest by drainage alone."""
    below: bool
    """True where drainage goes on below the thinnest stock tried (0.005 %): `drainage` is that bound then."""


@dataclass(frozen=True, kw_only=True)
class State:
    """A former at one speed and one consistency (mat as in the tester unless it says slow)."""

    consistency: float
    formed: bool
    end: float | None
    """End of forming as share of the forming length; None where the stock is not drained."""
    end_slow: float | None
    """The same where the mat resists most."""
    wrap: float | None
    """End of forming as wrap of the roll, rad, where the former begins with a roll."""
    wrap_slow: float | None
    flow_per_width: float
    stock_depth: float
    jet_thickness: float
    jet_power: float
    fan_power: float
    drainage_impulse: float
    dryness_leaving: float
    time_available: float
    """Time in the forming elements, s."""
    water: tuple[tuple[str, float], ...]
    """Share of the drained water by element."""
    deeper_than_held: bool
    """True where the stock is deeper than the fabric's tension can turn: a note."""


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A former at one speed."""

    speed: float
    lowest: Lowest
    lowest_slow: Lowest
    lowest_packed: Lowest
    """With a mat that keeps its packing, as resisting as in the tester: never multiplied by the slow end."""
    closed_form: float | None
    """Lowest consistency by the closed form with the impulse of the march: a sanity line, ±30 %."""
    jet_enters: bool
    practice: str
    """"inside", or how the speed leaves the window of practice."""
    at_lowest: State | None
    at_given: State


@dataclass(frozen=True, kw_only=True)
class SpeedRange:
    """How fast a former could run at one consistency."""

    consistency: float
    intervals: tuple[tuple[float, float], ...]
    """Every range of speed at which it drains and the jet enters, m/s."""
    intervals_slow: tuple[tuple[float, float], ...]
    intervals_packed: tuple[tuple[float, float], ...]
    supply: tuple[tuple[str, float], ...]
    """Highest speed by what supplies the jet (inf: does not limit), the lowest first."""
    highest: float | None
    """Highest speed of former and supply; None where there is none, inf where nothing limits."""
    first: str
    highest_slow: float | None
    first_slow: str
    window_high: float | None
    """Highest speed of practice, None where no window is given."""

    @property
    def drainage(self) -> float | None:
        """Highest speed by drainage; inf where it does not limit."""
        return _top(self.intervals)

    @property
    def drainage_slow(self) -> float | None:
        """The same where the mat resists most."""
        return _top(self.intervals_slow)

    @property
    def drainage_packed(self) -> float | None:
        """The same where the mat keeps its packing."""
        return _top(self.intervals_packed)

    @property
    def slow_binds(self) -> bool:
        """True where a mat that resists most would give out before practice and supply do."""
        tops = [v for v in (self.highest, self.window_high) if v is not None]
        return self.highest_slow is None or (bool(tops) and self.highest_slow < min(tops))

    @property
    def practice_binds(self) -> bool:
        """True where practice stops before anything that is computed."""
        return self.window_high is not None and self.highest is not None and self.window_high < self.highest


@dataclass(frozen=True, kw_only=True)
class OwnTime:
    """A former at the speeds, sheet and stock of its own time."""

    era: library.Era
    grammage: float
    """Bone-dry, on the wire."""
    answers: tuple[Answer, ...]
    """At its low, usual and high speed."""
    indicators: tuple[Indicator, ...]
    """At its usual speed, with the wire's tension of its time."""
    reasons: Reasons

    @property
    def usual(self) -> Answer:
        """At its usual speed."""
        return self.answers[1]


@dataclass(frozen=True, kw_only=True)
class Rung:
    """One former."""

    key: str
    name: str
    branch: str
    """"ladder", "side branch", "variant" or "own"."""
    carrier: str
    transfers: int
    length: float
    """Of the forming elements at the highest speed shown, m."""
    answers: tuple[Answer, ...]
    speeds: SpeedRange
    window: StabilityWindow
    gave_out: str
    changed: str
    belief: str
    """What is known, of such a former, of the mat's resistance at machine rate; the band is the same for all."""
    indicators: tuple[Indicator, ...]
    """At the present speed and the given consistency: of what disturbs the sheet, never a limit."""
    reasons: Reasons
    own_time: OwnTime | None
    """None where nobody ran it, where it is the machine's own, or where no eras were asked for."""
    same_as: str
    """Name of the rung before it that drains exactly as it does; empty where none does."""

    def at(self, speed: float) -> Answer:
        """The answer at the shown speed nearest to this one."""
        return min(self.answers, key=lambda a: abs(a.speed - speed))


@dataclass(frozen=True, kw_only=True)
class Ladder:
    """Formers side by side for one sheet."""

    title: str
    grammage: float
    retention: float
    consistency: float
    """The given one: the machine's, or the grade's."""
    speed: float
    """Present speed of the machine."""
    resistance: float
    resistance_factors: tuple[float, float]
    speeds: tuple[float, ...]
    rungs: tuple[Rung, ...]
    supplied: bool
    """False where only the formers were asked about, not what this machine supplies."""
    supply: tuple[tuple[str, float | None], ...]
    """Per speed what of the supply stops dilution first, and at which consistency (None: it cannot run that speed)."""
    unknown: tuple[str, ...]
    """Limits of the supply that nobody gave: not known, never unlimited."""

    def __getitem__(self, key: str) -> Rung:
        for rung in self.rungs:
            if rung.key == key:
                return rung
        known = ", ".join(rung.key for rung in self.rungs)
        raise Refused(fault_in("studies.rungs.no_rung_this_ladder", key, known=known))

    @property
    def first(self) -> Rung:
        """The rung that all ratios are told against: the first of the history."""
        return next((rung for rung in self.rungs if rung.key == FIRST), self.rungs[0])

    def ratios(self, rung: Rung, speed: float) -> tuple[float | None, float | None, float | None]:
        """Lowest consistency by drainage over that of the first rung: as in the tester, slowest, packed.

        The unknown resistance of the mat is common to all formers, so ratios hold better than bands.
        """
        mine, base = rung.at(speed), self.first.at(speed)
        springy, slow, packed = (_over(getattr(mine, end), getattr(base, end)) for end in ENDS)
        return springy, slow, packed

    def record(self) -> dict[str, Any]:
        """Everything in base SI as plain data, without NaN: None where there is no number, "no limit" beyond range."""
        made = _plain(dataclasses.asdict(dataclasses.replace(self, rungs=())))
        made["rungs"] = [_rung_record(rung) for rung in self.rungs]
        for rung, told in zip(self.rungs, made["rungs"], strict=True):
            told["ratios"] = [dict(zip(ENDS, self.ratios(rung, v), strict=True)) for v in self.speeds]
        made["words"] = dict(words())
        return made  # type: ignore[no-any-return]


def _over(mine: Lowest, base: Lowest) -> float | None:
    """One lowest consistency over another, where both are known and not just below what is tried."""
    if mine.drainage is None or base.drainage is None or mine.below or base.below:
        return None
    return mine.drainage / base.drainage


def _top(intervals: tuple[tuple[float, float], ...]) -> float | None:
    if not intervals:
        return None
    return math.inf if intervals[-1][1] >= trials.FASTEST else intervals[-1][1]


@lru_cache(maxsize=1)
def words() -> dict[str, str]:
    """What the ladder says beside its numbers."""
    return {name: " ".join(text.split()) for name, text in library.table("ladder")["ladder"].items()}


def _plain(value: Any) -> Any:
    """Plain data for JSON."""
    if hasattr(value, "_asdict"):
        value = value._asdict()
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float | np.floating):
        number = float(value)
        return "no limit" if math.isinf(number) else None if math.isnan(number) else number
    return value


def _rung_record(rung: Rung) -> dict[str, Any]:
    window = {name: float(getattr(rung.window, name)) for name in
              ("speed_low", "speed_high", "consistency_low", "consistency_high")}  # fmt: skip
    made = _plain(dataclasses.asdict(dataclasses.replace(rung, window=None)))  # type: ignore[arg-type]
    made["window"] = window | {"reason": rung.window.reason, "status": "common practice", "source": None}
    made["speeds"] |= {
        "drainage": _plain(rung.speeds.drainage),
        "drainage_slow": _plain(rung.speeds.drainage_slow),
        "drainage_packed": _plain(rung.speeds.drainage_packed),
        "practice_binds": rung.speeds.practice_binds,
    }
    return made  # type: ignore[no-any-return]
