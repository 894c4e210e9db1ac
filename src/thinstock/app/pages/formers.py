"""The formers page: every former drawn, its place on one field of speed and consistency, two of them side by side.

The page comes first, the ladder follows: what a former can drain and this machine can supply, the speeds at which
practice ran it, and what disturbs its sheet. A former can be taken over into the machine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.forms import Form, Row
from thinstock.app.pages import Page
from thinstock.app.reply import body_of, json_reply, page_reply, piece, text_in
from thinstock.app.state import Opened, made_of, open_state, parse
from thinstock.app.words import say
from thinstock.case import formers as case_formers
from thinstock.drawing import formers as drawn
from thinstock.errors import ThinstockError
from thinstock.machine.elements import FormingRoll
from thinstock.studies import exchange, ladder
from thinstock.studies.ladder import OWN, Ladder
from thinstock.studies.rungs import Answer, Rung
from thinstock.words.figures import NONE, Edge, figure
from thinstock.work.workspace import Workspace


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
    bars: tuple[Bar, ...]
    lines: tuple[Line, ...]
    indicators: tuple[Line, ...]
    first: str
    same_as: str
    gave_out: str
    changed: str
    take: str
    """Address of the machine with this former; empty for the machine's own."""


SMALL, LARGE = 12.0, 40.0
"""Scales of the drawings, px per metre: in the row of all, and of one."""
WIDEST = 1.6
"""Width of the band of the former with most water, m on the drawing."""


class Formers:
    """The ladder of one address."""

    def __init__(self, opened: Opened, *, quick: bool = False, supply: bool = True) -> None:
        self.opened, self.machine, self.quick, self.supply = opened, opened.machine, quick, supply
        self.edge = Edge(unit_set=opened.state.unit_set, air=float(self.machine.site.atmospheric_pressure()))
        self.speed = float(self.machine.speed)
        speeds = [self.speed] if quick else sorted({*ladder.SPEEDS, self.speed})
        self.ladder: Ladder = ladder.formers(self.machine, speeds=speeds, supply=supply, era=not quick)
        self.rungs = sorted(self.ladder.rungs, key=_begun)
        self.most = max((self._usual(rung).at_given.flow_per_width for rung in self.rungs), default=1.0)

    def _usual(self, rung: Rung) -> Answer:
        """A former at the usual speed of its own time, or at the machine's where it has none."""
        return rung.at(self.speed) if rung.own_time is None else rung.own_time.usual

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
        small, large = self._pictures(rung)
        return Shown(
            key=rung.key, number=number, name=rung.name, small=small, large=large, bars=bars,
            branch=say("formers.own") if own else "" if rung.branch == "ladder" else rung.branch,
            years="" if there is None else there.era.years,
            lines=tuple(self.lines(rung)), indicators=tuple(self._indicators(rung)),
            first=(rung.reasons if there is None else there.reasons).sentence,
            same_as=rung.same_as, gave_out=rung.gave_out, changed=rung.changed,
            take="" if own else replace(state, former=rung.name).query(),
        )  # fmt: skip

    def _pictures(self, rung: Rung) -> tuple[str, str]:
        """The former alone at its own usual speed and stock, small and large; nothing where it does not run there."""
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
            made = [
                drawn.picture(result, scale=scale, per_flow=per * scale, prefix=f"at-{scale:g}", name=rung.name)
                for scale in (SMALL, LARGE)
            ]
        except ThinstockError:
            return "", ""
        return made[0], made[1]

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

    def field(self) -> str:
        """All formers on one field."""
        marks = []
        for number, rung in enumerate(self.rungs, start=1):
            there, lines = rung.own_time, {}
            for end in ("lowest", "lowest_slow"):
                told = ((a.speed, getattr(a, end).consistency) for a in self._within(rung))
                lines[end] = tuple((v, c) for v, c in told if c is not None)
            first = (rung.reasons if there is None else there.reasons).first
            era = None if there is None else there.era
            marks.append(drawn.Mark(
                key=rung.key, number=number, name=rung.name, fast=lines["lowest"], slow=lines["lowest_slow"],
                era=None if era is None else (era.speed_low, era.speed_high, era.consistency_low, era.consistency_high),
                usual=None if era is None else (era.speed_usual, era.consistency_usual),
                indicator=None if first is None else (first.speed_at_yardstick or math.inf, first.words),
            ))  # fmt: skip
        units = self.edge.unit("speed"), self.edge.unit("consistency")
        return drawn.field(marks, (self.speed, self.ladder.consistency), self.edge.number, units)

    def _within(self, rung: Rung) -> list[Answer]:
        """Answers at the speeds at which practice ran it, or at all where there is no such time."""
        if rung.own_time is None:
            return list(rung.answers)
        era = rung.own_time.era
        there = [a for a in rung.answers if era.speed_low < a.speed < era.speed_high]
        return sorted([*there, rung.own_time.answers[0], rung.own_time.answers[2]], key=lambda a: a.speed)

    def _consistency(self, value: float | None) -> str:
        return say("formers.none") if value is None else self.edge.text("consistency", value, 2)

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


ASKED = ("speed", "consistency")


def _asked(opened: Opened) -> list[Row]:
    """The two values of the machine that this page changes."""
    form = Form(opened.machine, opened.base, opened.state.unit_set)
    return [form.row(opened.machine.speed_address), form.row("headbox.consistency")]


def show(request: Request) -> Response:
    """The page without its ladder, which is asked for as soon as it stands."""
    workspace: Workspace = request.app.state.workspace
    opened, faults = made_of(lambda state: open_state(state, workspace), parse(request.url.query))
    return page_reply(
        request, "formers.html", here="formers", opened=opened, state=opened.state, known=opened.content.digest,
        query=opened.state.query(), asked=_asked(opened), faults=faults, told=ladder.words(),
        names=exchange.formers(),
    )  # fmt: skip


async def answer(request: Request) -> Response:
    """The formers for another speed or consistency."""
    body = await body_of(request)
    return await run_in_threadpool(_answer, request.app.state.workspace, body)


def _answer(workspace: Workspace, body: dict[str, Any]) -> Response:
    opened = open_state(parse(text_in(body, "query")), workspace)
    part = text_in(body, "part", "full")
    full = part != "quick"
    formers = Formers(opened, quick=not full, supply=part != "former")
    shown = formers.shown() if full else []
    rungs = formers.rungs
    pieces = {f"strip-{rung.key}": piece("formers/strip.html", lines=formers.lines(rung)) for rung in rungs}
    if full:
        pieces = {
            "row": piece("formers/row.html", shown=shown), "field": formers.field(),
            "shown": piece("formers/shown.html", shown=shown), "unknown": ", ".join(formers.ladder.unknown),
        }  # fmt: skip
    told = {
        "query": opened.state.query(), "pieces": pieces, "full": full,
        "rows": [{"address": r.address, "text": r.text, "changed": r.changed} for r in _asked(opened)],
    }  # fmt: skip
    return json_reply(told)


PAGE = Page(
    name="formers",
    title="Formers",
    place=30,
    routes=(Route("/formers", show), Route("/formers/answer", answer, methods=["POST"])),
)
