"""What the formers page shows: every former drawn, its numbers as bars, and its marks on the field.

All numbers come from the ladder; drawings from a run of the machine with each former.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from thinstock.app.state import Opened
from thinstock.app.words import say
from thinstock.case import formers as case_formers
from thinstock.drawing import formers as drawn
from thinstock.drawing.former_field import Mark, Place, field
from thinstock.errors import ThinstockError
from thinstock.machine.elements import FormingRoll
from thinstock.studies import exchange, ladder, trials
from thinstock.studies.ladder import OWN, Ladder
from thinstock.studies.reasons import Reasons
from thinstock.studies.rungs import Answer, Rung
from thinstock.words.figures import NONE, Edge, figure
from thinstock.words.phrase import phrase


@dataclass(frozen=True, kw_only=True)
class Line:
    """One number of a strip: what it is, the number, a remark."""

    label: str
    text: str
    remark: str = ""


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One number of a former with its share of the largest of all formers; none where there is nothing to compare."""

    label: str
    text: str
    share: float | None = None


@dataclass(frozen=True, kw_only=True)
class Shown:
    """One former, ready to be set."""

    key: str
    number: int
    name: str
    branch: str
    years: str
    small: str
    large: str
    """Its drawings; empty where it does not run."""
    brief: tuple[Line, ...]
    """The few numbers that stand beside the field."""
    capacity: tuple[tuple[str, ...], ...]
    """Rows of what it could drain: what, mat springing back, packed, resisting most."""
    ends: str
    """What the two ends of the mat mean for it."""
    bars: tuple[Bar, ...]
    lines: tuple[Line, ...]
    indicators: tuple[Line, ...]
    first: str
    same_as: str
    gave_out: str
    changed: str
    take: str
    """Address of the machine with this former; empty for the machine's own."""


SMALL, LARGE = 9.5, 40.0
"""Scales of the drawings, px per metre: in the row of all, and of one."""
WIDEST = 1.6
"""Width of the band of the former with most water, m on the drawing."""
_BOUND = trials.THINNEST * (1.0 + 1e-6)
"""Consistency up to which a former drains what is thinner than all that is tried."""
SLOWEST = 30 / 60
"""Slowest speed of any time, m/s: shown beside the speeds of the ladder."""
ENDS = ("springy", "packed", "slow")
_ANSWERS = {"springy": "lowest", "packed": "lowest_packed", "slow": "lowest_slow"}


class Formers:
    """The ladder of one address."""

    def __init__(self, opened: Opened, *, quick: bool = False, supply: bool = True) -> None:
        self.opened, self.machine, self.quick, self.supply = opened, opened.machine, quick, supply
        self.edge = Edge(unit_set=opened.state.unit_set, air=float(self.machine.site.atmospheric_pressure()))
        self.speed = float(self.machine.speed)
        speeds = [self.speed] if quick else sorted({SLOWEST, *ladder.SPEEDS, self.speed})
        self.ladder: Ladder = ladder.formers(self.machine, speeds=speeds, supply=supply, era=not quick)
        self.rungs = sorted(self.ladder.rungs, key=_begun)
        self.most = max((self._usual(rung).at_given.flow_per_width for rung in self.rungs), default=1.0)

    def _usual(self, rung: Rung) -> Answer:
        """A former at the usual speed of its own time, or at the machine's where it has none."""
        return rung.at(self.speed) if rung.own_time is None else rung.own_time.usual

    def numbered(self, key: str) -> tuple[int, Rung]:
        """A former by its key with its number; the first where there is none of that key."""
        found = [(n, rung) for n, rung in enumerate(self.rungs, start=1) if rung.key == key]
        return found[0] if found else (1, self.rungs[0])

    def shown(self) -> list[Shown]:
        """Every former in the order of history, the machine's own first."""
        rows = [self._bars(rung) for rung in self.rungs]
        most = [max((row[i][2] or 0.0 for row in rows), default=0.0) or 1.0 for i in range(len(rows[0]))]
        return [
            self._shown(number, rung, tuple(
                Bar(label=label, text=text, share=None if value is None else 100.0 * value / most[i])
                for i, (label, text, value) in enumerate(row)
            ))
            for number, (rung, row) in enumerate(zip(self.rungs, rows, strict=True), start=1)
        ]  # fmt: skip

    def _shown(self, number: int, rung: Rung, bars: tuple[Bar, ...]) -> Shown:
        own = rung.key == OWN
        state, there = self.opened.state.without_more(), rung.own_time
        small, large = self.picture(rung, (SMALL, LARGE))
        return Shown(
            key=rung.key, number=number, name=rung.name, small=small, large=large, bars=bars,
            brief=tuple(self._brief(rung)), ends=self._ends_said(rung),
            capacity=self._capacity(rung),
            branch=say("formers.own") if own else "" if rung.branch == "ladder" else rung.branch,
            years="" if there is None else there.era.years,
            lines=tuple(self.lines(rung)), indicators=tuple(self._indicators(rung)),
            first=_reasons(rung).sentence,
            same_as=rung.same_as, gave_out=rung.gave_out, changed=rung.changed,
            take="" if own else replace(state, former=rung.name).query(),
        )  # fmt: skip

    def picture(self, rung: Rung, scales: Sequence[float], theme: str = "") -> list[str]:
        """The former alone at its own usual speed and stock, at each scale; empty where it does not run there."""
        there = rung.own_time
        try:
            machine = self.machine
            if rung.key != OWN:
                machine = exchange.with_former(machine, rung.name).machine
            if there is not None:
                machine = machine.with_(
                    {machine.speed_address: there.usual.speed, "headbox.consistency": there.era.consistency_usual}
                )
            result = machine.run()
            per = WIDEST / max(self.most * float(result.wet.water.density), 1e-9)
            return [
                drawn.picture(result, scale=k, per_flow=per * k, prefix=f"at-{k:g}", name=rung.name, theme=theme)
                for k in scales
            ]
        except ThinstockError:
            return [""] * len(scales)

    def key(self) -> dict[str, str]:
        """Lengths and widths that tell the scale of the drawings: of 2 m, and of the widest band."""
        widest = self.edge.text("flow_per_width", self.most, 2)
        return {"metres": f"{2 * LARGE:g}", "small": f"{2 * SMALL:g}", "band": f"{WIDEST * LARGE:g}", "widest": widest}

    def _bars(self, rung: Rung) -> list[tuple[str, str, float | None]]:
        """Numbers to compare formers by, each at the usual speed of its own time: label, text, length of its bar."""
        answer, edge, there = self._usual(rung), self.edge, rung.own_time
        state = answer.at_given
        pulses = {i.name: i for i in (rung.indicators if there is None else there.indicators)}
        peak, rate = pulses.get("pulse"), pulses.get("pulse_rate")
        ran = say("formers.present")
        if there is not None:
            ran = f"{edge.figure('speed', there.era.speed_low, 3)} – {edge.text('speed', there.era.speed_high, 3)}"
        ends = [self._consistency(one.consistency) for one in (answer.lowest, answer.lowest_slow, answer.lowest_packed)]
        return [
            (say("formers.ran"), ran, None),
            (say("formers.usual"), edge.text("speed", answer.speed, 3), answer.speed),
            (say("formers.stock"), edge.text("consistency", state.consistency, 2), state.consistency),
            (say("formers.flow"), edge.text("flow_per_width", state.flow_per_width, 3), state.flow_per_width),
            (say("formers.time"), _time(state.time_available), state.time_available),
            (say("formers.impulse"), edge.text("drainage_impulse", state.drainage_impulse, 2), state.drainage_impulse),
            (say("formers.peak"), NONE if peak is None else edge.text("pressure_drop", peak.value, 2),
             None if peak is None else peak.value),
            (say("formers.pulses"), say("formers.no_pulses") if rate is None else f"{figure(rate.value, 2)} /s",
             None if rate is None else rate.value),
            (say("formers.transfers"), str(rung.transfers), float(rung.transfers)),
            (say("formers.thinnest"), say("formers.three_ends", fast=ends[0], slow=ends[1], packed=ends[2]), None),
        ]  # fmt: skip

    def _indicators(self, rung: Rung) -> list[Line]:
        """What disturbs the sheet there, with the speed at its yardstick: indicators, never limits."""
        found = []
        for one in rung.indicators if rung.own_time is None else rung.own_time.indicators:
            if one.side == "none" or one.speed_at_yardstick is None:
                continue
            at = say("formers.never_met")
            if math.isfinite(one.speed_at_yardstick):
                at = self.edge.text("speed", one.speed_at_yardstick, 2)
                at = at if one.side == "highest" else say("formers.below", speed=at)
            found.append(Line(label=one.words, text=at, remark=one.answer))
        return found

    @cached_property
    def marks(self) -> list[Mark]:
        """Every former's place on the field: its lines are this machine's sheet at the speeds of the former's time."""
        return [self._mark(number, rung) for number, rung in enumerate(self.rungs, start=1)]

    def _mark(self, number: int, rung: Rung) -> Mark:
        there, first = rung.own_time, _reasons(rung).first
        era = None if there is None else there.era
        lines = {end: self._curve(rung, end) for end in ENDS}
        return Mark(
            key=rung.key, number=number, name=rung.name, **lines,
            thinner=any(line and line[0][1] <= _BOUND for line in lines.values()),
            era=None if era is None else (era.speed_low, era.speed_high, era.consistency_low, era.consistency_high),
            usual=(self.speed, self.ladder.consistency) if era is None else (era.speed_usual, era.consistency_usual),
            first=None if first is None else (*first.speed_ends, first.short), note=self._note(number, rung),
        )  # fmt: skip

    def _note(self, number: int, rung: Rung) -> str:
        """Why a row of the times is empty or like another."""
        said = [] if _reasons(rung).first is not None else [say("formers.no_bracket")]
        if rung.own_time is None:
            return "; ".join([*said, say("formers.now")])
        for other, before in enumerate(self.rungs[: number - 1], start=1):
            if before.own_time is not None and before.own_time.era == rung.own_time.era:
                return "; ".join([*said, say("formers.time_as", number=other)])
        return "; ".join(said)

    def _curve(self, rung: Rung, end: str) -> tuple[Place, ...]:
        """Lowest consistencies at the speeds at which practice ran it, or at all where there is no such time."""
        told = [(a.speed, getattr(a, _ANSWERS[end]).consistency) for a in rung.answers]
        line = [(v, c) for v, c in told if c is not None]
        if rung.own_time is not None:
            line = _cut(line, rung.own_time.era.speed_low, rung.own_time.era.speed_high)
        while len(line) > 1 and line[1][1] <= _BOUND:
            line = line[1:]
        return tuple(line)

    def field(self, *, width: float = 880.0, lit: str = "", theme: str = "") -> str:
        """All formers on one field."""
        units = self.edge.unit("speed"), self.edge.unit("consistency")
        here = self.speed, self.ladder.consistency
        return field(self.marks, here, self.edge.number, units, width=width, lit=lit, theme=theme)

    def rows(self) -> list[tuple[str, ...]]:
        """The field as a table: of every former each line, its window and what comes first."""
        speed, thin = self.edge.unit("speed"), self.edge.unit("consistency")
        made: list[tuple[str, ...]] = [("number", "former", "what", f"speed, {speed}", f"consistency, {thin}")]

        def add(mark: Mark, what: str, at: float, consistency: float | None) -> None:
            said = "" if consistency is None else f"{self.edge.number('consistency', consistency):.6g}"
            made.append((str(mark.number), mark.name, what, f"{self.edge.number('speed', at):.6g}", said))

        for mark in self.marks:
            for end in ENDS:
                for v, c in getattr(mark, end):
                    add(mark, phrase(f"drawing.field.{end}"), v, c)
            if mark.era is not None:
                for v, c in ((mark.era[0], mark.era[2]), (mark.era[1], mark.era[3])):
                    add(mark, phrase("drawing.field.window"), v, c)
            for v in dict.fromkeys(mark.first[:2]) if mark.first is not None else ():
                add(mark, mark.first[2] if mark.first else "", v, None)
        return made

    def _consistency(self, value: float | None) -> str:
        return say("formers.none") if value is None else self.edge.text("consistency", value, 2)

    def _brief(self, rung: Rung) -> list[Line]:
        """Where practice ran a former, what comes first, how often the sheet is passed on."""
        there, edge, first = rung.own_time, self.edge, _reasons(rung).first
        ran = say("formers.present")
        if there is not None:
            era = there.era
            ran = say(
                "formers.ran_at", low=edge.figure("speed", era.speed_low, 3),
                high=edge.text("speed", era.speed_high, 3),
                thin=edge.figure("consistency", era.consistency_low, 2),
                thick=edge.text("consistency", era.consistency_high, 2),
            )  # fmt: skip
        found = [Line(label=say("formers.ran"), text=ran)]
        if first is None:
            found.append(Line(label=say("formers.comes_first"), text=say("formers.no_bracket")))
        else:
            low, high = (edge.figure("speed", end, 2) for end in first.speed_ends)
            unit = edge.unit("speed")
            text = f"{low} {unit}" if low == high else f"{low} – {high} {unit}"
            found.append(Line(label=first.short, text=text, remark=say("formers.held", status=first.held)))
        found.append(Line(label=say("formers.transfers"), text=str(rung.transfers)))
        return found

    def _capacity(self, rung: Rung) -> tuple[tuple[str, ...], ...]:
        """Two rows: thinnest stock at its usual speed and highest speed on this stock, at each end of the mat."""
        speed, speeds, edge = self._usual(rung).speed, rung.speeds, self.edge
        tops = speeds.drainage, speeds.drainage_packed, speeds.drainage_slow
        thin = [self._thin(rung, end, speed) for end in ENDS]
        fast = [say("formers.no_speed") if v is None else say("formers.endless") if math.isinf(v)
                else edge.figure("speed", v, 2) for v in tops]  # fmt: skip
        heads = (
            say("formers.thinnest_at", speed=edge.text("speed", speed, 3), unit=edge.unit("consistency")),
            say("formers.drains_up_to", text=self._consistency(speeds.consistency), unit=edge.unit("speed")),
        )
        return (heads[0], *thin), (heads[1], *fast)

    def _thin(self, rung: Rung, end: str, speed: float) -> str:
        """Where a line of the field stands at a speed; at the thinnest stock that is tried it is a bound."""
        line = [(a.speed, c) for a in rung.answers if (c := getattr(a, _ANSWERS[end]).consistency) is not None]
        found = _cut(line, speed, speed)
        if not found:
            return say("formers.none")
        shown = self.edge.figure("consistency", found[0][1], 2)
        return f"< {shown}" if found[0][1] <= _BOUND else shown

    def _ends_said(self, rung: Rung) -> str:
        """Why both ends of the mat are one line, or what lies between them."""
        mark = self.marks[self.numbered(rung.key)[0] - 1]
        return say("formers.one_end" if mark.steady else "formers.two_ends")

    def lines(self, rung: Rung) -> list[Line]:
        """A former at the machine's own speed and stock."""
        answer = rung.at(self.speed)
        low, slow = answer.lowest, answer.lowest_slow
        stopped = say("formers.stopped_by", what=low.first)
        if low.consistency != slow.consistency:
            stops = low.first if low.first == slow.first else f"{low.first}; {slow.first}"
            stopped = say("formers.slow", text=self._consistency(slow.consistency), what=stops)
        state = answer.at_lowest if answer.at_lowest is not None else answer.at_given
        at = "" if answer.at_lowest is not None else say("formers.at_given", text=self._consistency(state.consistency))
        window = rung.window
        practice = say(
            "formers.practice", low=self.edge.figure("speed", window.speed_low, 3),
            high=self.edge.text("speed", window.speed_high, 3), reason=window.reason or "–",
        )  # fmt: skip
        return [
            Line(label=say("formers.lowest"), text=self._consistency(low.consistency), remark=stopped),
            Line(label=say("formers.flow"), text=self.edge.text("flow_per_width", state.flow_per_width, 3), remark=at),
            Line(label=say("formers.time"), text=_time(state.time_available), remark=self._end(state)),
            Line(label=say("formers.length"), text=self.edge.text("length", rung.length, 2)),
            Line(label=say("formers.impulse"), text=self.edge.text("drainage_impulse", state.drainage_impulse, 2)),
            Line(label=say("formers.sides"), text=self._sides(rung)),
            Line(label=say("formers.transfers"), text=str(rung.transfers)),
            Line(label=say("formers.highest", text=self._consistency(rung.speeds.consistency)),
                 text=self._speed(rung.speeds.highest),
                 remark=say("formers.stopped_by", what=rung.speeds.first)),
            Line(label=say("formers.window"), text=say(f"formers.{_inside(answer.practice)}"), remark=practice),
        ]  # fmt: skip

    def _end(self, state: Any) -> str:
        if state.end is None:
            return say("formers.not_formed")
        slow = figure(100 * state.end_slow, 2) if state.end_slow is not None else say("formers.never")
        return say("formers.end", share=figure(100 * state.end, 2), slow=slow)

    def _speed(self, value: float | None) -> str:
        if value is None:
            return say("formers.no_speed")
        return say("formers.no_limit") if math.isinf(value) else self.edge.text("speed", value, 3)

    def _sides(self, rung: Rung) -> str:
        forming = self.machine.forming if rung.key == OWN else case_formers.former(rung.key)
        rolls = [one for one in forming.element if isinstance(one, FormingRoll)]
        if any(one.roll != "solid" for one in rolls) and len(rolls) == 1:
            return say("formers.two_sides")
        if len({one.outer for one in rolls}) > 1:
            return say("formers.one_then_other")
        return say("formers.one_side")


def _reasons(rung: Rung) -> Reasons:
    """What comes first on a former, in its own time where it has one."""
    return rung.reasons if rung.own_time is None else rung.own_time.reasons


def _cut(line: list[Place], low: float, high: float) -> list[Place]:
    """A line between two speeds, its ends read off between neighbours in logarithms."""
    made: list[Place] = []
    for (v, c), (w, d) in itertools.pairwise(line):
        ends = [v] if low <= v <= high else []
        ends += [one for one in (low, high) if v < one < w]
        made += [(one, math.exp(math.log(c) + math.log(d / c) * math.log(one / v) / math.log(w / v))) for one in ends]
    if line and low <= line[-1][0] <= high:
        made.append(line[-1])
    return made


def _begun(rung: Rung) -> int:
    """The year in which a former came into use, as far as it is known."""
    years = "" if rung.own_time is None else rung.own_time.era.years
    return int("".join(c for c in years if c.isdigit())[:4] or 0)


def _time(seconds: float) -> str:
    if not math.isfinite(seconds):
        return NONE
    return f"{figure(seconds, 2)} s" if seconds >= 1 else f"{figure(1e3 * seconds, 2)} ms"


def _inside(practice: str) -> str:
    return "inside" if practice == "inside" else "outside"
