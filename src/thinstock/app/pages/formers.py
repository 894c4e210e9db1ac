"""The formers page: one strip for every former, the same sheet and stock on each, at one speed and one consistency.

What former and machine can drain and supply is computed; the window in which practice runs such a former stands beside
it, apart. A former can be taken over into the machine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app import pictures
from thinstock.app.forms import Form, Row
from thinstock.app.pages import Page
from thinstock.app.reply import body_of, json_reply, page_reply, piece, text_in
from thinstock.app.state import Opened, made_of, open_state, parse
from thinstock.app.words import say
from thinstock.case import formers as case_formers
from thinstock.machine.elements import FormingRoll
from thinstock.studies import ladder
from thinstock.studies.ladder import OWN, Ladder, Rung
from thinstock.words.figures import NONE, Edge, figure
from thinstock.work.workspace import Workspace


@dataclass(frozen=True, kw_only=True)
class Line:
    """One number of a strip: what it is, the number, a remark."""

    label: str
    text: str
    remark: str = ""


@dataclass(frozen=True, kw_only=True)
class Strip:
    """One former, ready to be set."""

    key: str
    name: str
    branch: str
    chart: str
    alt: str
    lines: tuple[Line, ...]
    gave_out: str
    changed: str
    take: str
    """Address of the machine with this former; empty for the machine's own."""


class Formers:
    """The ladder of one address."""

    def __init__(self, opened: Opened, *, quick: bool = False) -> None:
        self.opened, self.machine = opened, opened.machine
        self.edge = Edge(unit_set=opened.state.unit_set, air=float(self.machine.site.atmospheric_pressure()))
        self.speed = float(self.machine.speed)
        speeds = [self.speed] if quick else sorted({*ladder.SPEEDS, self.speed})
        self.ladder: Ladder = ladder.formers(self.machine, speeds=speeds)
        self.words = ladder.words()

    def strips(self) -> list[Strip]:
        """Every former in the order of the ladder."""
        return [self._strip(rung) for rung in self.ladder.rungs]

    def _strip(self, rung: Rung) -> Strip:
        own = rung.key == OWN
        state = self.opened.state.without_more()
        return Strip(
            key=rung.key,
            name=rung.name,
            branch=say("formers.own") if own else "" if rung.branch == "ladder" else rung.branch,
            chart=f"rung-{rung.key}",
            alt=self._alt(rung),
            lines=tuple(self._lines(rung)),
            gave_out=rung.gave_out,
            changed=rung.changed,
            take="" if own else replace(state, former=rung.name).query(),
        )

    def _alt(self, rung: Rung) -> str:
        answer = rung.at(self.speed)
        return say("formers.alt", name=rung.name, consistency=self._consistency(answer.lowest.consistency))

    def _consistency(self, value: float | None) -> str:
        return say("formers.none") if value is None else self.edge.text("consistency", value, 2)

    def _lines(self, rung: Rung) -> list[Line]:
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

    def charts(self) -> dict[str, dict[str, list[dict[str, Any]]]]:
        """Rows of every strip's chart: lowest consistency against speed, the window of practice, this machine."""
        return {f"rung-{rung.key}": {"rows": self._rows(rung)} for rung in self.ladder.rungs}

    def _rows(self, rung: Rung) -> list[dict[str, Any]]:
        rows: list[dict[str, Any]] = []
        for answer in rung.answers:
            low, slow = answer.lowest.consistency, answer.lowest_slow.consistency
            rows.append(
                {
                    "kind": "lowest",
                    "speed": self.edge.number("speed", answer.speed),
                    "low": None if low is None else self.edge.number("consistency", low),
                    "slow": None if slow is None else self.edge.number("consistency", slow),
                    "top": self.edge.number("consistency", TOP),
                }
            )
        window = rung.window
        rows.append(
            {
                "kind": "window",
                "speed": self.edge.number("speed", window.speed_low),
                "to": self.edge.number("speed", min(window.speed_high, ladder.SPEEDS[-1])),
                "low": self.edge.number("consistency", max(window.consistency_low, BOTTOM)),
                "high": self.edge.number("consistency", min(window.consistency_high, TOP)),
            }
        )
        rows.append(
            {
                "kind": "here",
                "speed": self.edge.number("speed", self.speed),
                "low": self.edge.number("consistency", self.ladder.consistency),
            }
        )
        return rows


BOTTOM, TOP = 1e-4, 2e-2
"""Consistencies between which the charts are drawn."""


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
    """The whole page."""
    workspace: Workspace = request.app.state.workspace
    formers, faults = made_of(lambda state: Formers(open_state(state, workspace)), parse(request.url.query))
    opened = formers.opened
    return page_reply(
        request, "formers.html", here="formers", opened=opened, state=opened.state, known=opened.content.digest,
        query=opened.state.query(), formers=formers, asked=_asked(opened), faults=faults,
        figures=pictures.rung_figures(formers.charts(), formers.edge),
    )  # fmt: skip


async def answer(request: Request) -> Response:
    """The strips for another speed or consistency."""
    body = await body_of(request)
    return await run_in_threadpool(_answer, request.app.state.workspace, body)


def _answer(workspace: Workspace, body: dict[str, Any]) -> Response:
    opened = open_state(parse(text_in(body, "query")), workspace)
    full = text_in(body, "part", "full") == "full"
    formers = Formers(opened, quick=not full)
    told = {
        "query": opened.state.query(),
        "pieces": {f"strip-{strip.key}": piece("formers/strip.html", strip=strip) for strip in formers.strips()},
        "charts": formers.charts() if full else {},
        "rows": [{"address": r.address, "text": r.text, "changed": r.changed} for r in _asked(opened)],
        "full": full,
    }
    return json_reply(told)


PAGE = Page(
    name="formers",
    title="Formers",
    place=30,
    routes=(Route("/formers", show), Route("/formers/answer", answer, methods=["POST"])),
)
