"""The options page: up to four machines side by side at equal reel dryness, with what is sure about their differences.

The first machine is the page's own; the others are bundled machines, files, or the first with another former or press.
A difference is marked where it is larger than twice its uncertainty; inputs both machines share cancel in that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock import machines
from thinstock.app.pages import Page
from thinstock.app.reply import body_of, json_reply, page_reply, piece, text_in
from thinstock.app.show import finite
from thinstock.app.state import Opened, State, fault_rows, open_state, parse
from thinstock.app.words import say
from thinstock.errors import Fault, Refused
from thinstock.machine.numbers import Number, headline, numbers
from thinstock.machine.numbers import number as told_of
from thinstock.studies.compare import Comparison, compare
from thinstock.studies.exchange import formers, presses
from thinstock.tell.blocks import Table, lined
from thinstock.words.figures import NONE, Edge, figure, plus_minus, rounded
from thinstock.work.workspace import Workspace

MOST = 4
LETTERS = "ABCD"


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One number of one machine, and how it differs from the first's."""

    text: str
    difference: str = ""
    sure: bool = False


@dataclass(frozen=True, kw_only=True)
class Choice:
    """Something that can be put beside the machine."""

    group: str
    text: str
    query: str


def others_of(opened: Opened, workspace: Workspace) -> list[Opened]:
    """The machines put beside the first one."""
    wanted = opened.state.own_all("other")
    if len(wanted) > MOST - 1:
        raise Refused(Fault(field="other", value=f"{len(wanted) + 1} machines", bound=f"at most {MOST} are compared"))
    found = []
    for number, query in enumerate(wanted):
        state = replace(parse(query).without_more(), unit_set=opened.state.unit_set)
        try:
            found.append(open_state(state, workspace))
        except Refused as refused:
            raise refused.under(LETTERS[number + 1]) from None
    return found


def choices(opened: Opened, workspace: Workspace) -> list[Choice]:
    """What can be put beside the machine."""
    own = opened.state.without_more()
    found = []
    if own.changes or own.former or own.press:
        plain = replace(own, changes=(), former="", press="")
        found.append(Choice(group=say("options.same"), text=say("options.as_file"), query=plain.query()))
    found += [Choice(group=say("options.press"), text=p, query=own.query(press=p)) for p in presses()]
    found += [Choice(group=say("options.former"), text=f, query=own.query(former=f)) for f in formers()]
    found += [Choice(group=say("options.bundled"), text=m.title, query=State(machine=m.name).query())
              for m in machines()]  # fmt: skip
    found += [Choice(group=say("options.files"), text=name, query=State(file=name).query())
              for name in workspace.files()]  # fmt: skip
    return found


class Options:
    """The machines of one address, compared."""

    def __init__(self, opened: Opened, others: list[Opened]) -> None:
        self.opened = opened
        self.all = [opened, *others]
        self.edge = Edge(unit_set=opened.state.unit_set, air=float(opened.machine.site.atmospheric_pressure()))
        self.compared: Comparison | None = compare(*(one.machine for one in self.all)) if others else None

    def columns(self) -> list[dict[str, Any]]:
        """The machines as the heads of the columns."""
        made = []
        for number, one in enumerate(self.all):
            state = one.state.without_more()
            parts = [part for part in (state.former, state.press) if part]
            parts += [f"{where.rsplit('.', 1)[-1].replace('_', ' ')} {text}" for where, text in state.changes[:3]]
            made.append(
                {
                    "letter": LETTERS[number], "title": one.machine.title, "changes": "; ".join(parts),
                    "said": "; ".join(one.said), "query": state.query(),
                }
            )  # fmt: skip
        return made

    def rows(self, everything: bool = False) -> list[tuple[str, str, list[Cell]]]:
        """Label, unit and cells of the numbers: those of the headline, or all others."""
        if self.compared is None:
            return []
        known = headline()
        found = {row.name: row for row in self.compared.numbers}
        names = [n for n in found if n not in known] if everything else [n for n in known if n in found]
        return [self._row(found[name], told_of(name)) for name in names if told_of(name).word]

    def _row(self, row: Any, about: Number) -> tuple[str, str, list[Cell]]:
        word, digits = about.word, about.digits
        cells = []
        first = row.values[0]
        for value, apart in zip(row.values, row.differences, strict=True):
            if value is None:
                cells.append(Cell(text=NONE))
                continue
            text = self.edge.figure(word, value, digits)
            if apart is None or first is None or apart.value == 0:
                cells.append(Cell(text=text, difference="" if apart is None else say("options.equal")))
                continue
            move = self.edge.number(word, value) - self.edge.number(word, first)
            spread = self.edge.spread(word, value, apart.standard_uncertainty)
            said = plus_minus(move, spread, 3)
            signed = f"+{said}" if move > 0 and not said.startswith("0 ") else said
            cells.append(Cell(text=text, difference=signed, sure=apart.sure))
        return about.label, self.edge.unit(word), cells

    def speeds(self) -> Table | None:
        """Highest speed of every part in every machine; what gives out first is marked."""
        if self.compared is None:
            return None
        first = [found.binding.part if found.binding is not None else "" for found in self.compared.limits]
        rows = []
        for part, speeds in self.compared.parts:
            cells = []
            for number, speed in enumerate(speeds):
                text = self.edge.figure("speed", speed, 4) if speed is not None else NONE
                cells.append(f"→ {text}" if first[number] == part else text)
            rows.append((part, *cells))
        heads = ((say("limits.part"), ""), *((c["letter"], self.edge.unit("speed")) for c in self.columns()))
        return lined(key="speeds", heads=heads, rows=tuple(rows), caption=say("options.speeds"))

    def stations(self) -> Table | None:
        """Dryness at the places every machine has."""
        if self.compared is None:
            return None
        rows = [(place, *(self._dry(v) for v in dryness)) for place, dryness, _ in self.compared.stations]
        heads = ((say("stations.place"), ""), *((c["letter"], "%") for c in self.columns()))
        return lined(key="stations", heads=heads, rows=tuple(rows), caption=say("options.stations"))

    def _dry(self, value: float | None) -> str:
        return NONE if value is None else figure(100 * value, 3)

    def consumers(self) -> Table | None:
        """Energy of every consumer."""
        if self.compared is None:
            return None
        unit = self.edge.unit("specific_energy")
        rows = [
            (name, kind, *(rounded(self.edge.number("specific_energy", v)) for v in values))
            for name, kind, values in self.compared.consumers
        ]
        heads = ((say("energy.consumer"), ""), (say("energy.kind"), ""), *((c["letter"], unit) for c in self.columns()))
        return lined(key="energy", heads=heads, rows=tuple(rows), words=2, caption=say("energy.caption"))

    def splits(self) -> list[tuple[str, Table]]:
        """Where the change of a press comes from, per machine."""
        if self.compared is None:
            return []
        made = []
        for number, split in enumerate(self.compared.splits, start=1):
            rows = []
            for one in split:
                about = numbers().get(one.name)
                if about is None or not finite(one.total):
                    continue
                cells = [self._move(about.word, v) for v in (one.total, one.load, one.rewet, one.rest)]
                rows.append((f"{about.label}, {self.edge.unit(about.word)}", *cells))
            if rows:
                heads = tuple((say(f"options.split_{n}"), "") for n in ("number", "total", "load", "rewet", "rest"))
                made.append((LETTERS[number], lined(key=f"split-{number}", heads=heads, rows=tuple(rows))))
        return made

    def _move(self, word: str, value: float) -> str:
        moved = self.edge.number(word, value) - self.edge.number(word, 0.0)
        text = figure(moved, 2)
        return f"+{text}" if moved > 0 else text

    def cards(self) -> list[tuple[str, list[str]]]:
        """The change card to every other machine."""
        if self.compared is None:
            return []
        return [(LETTERS[i], self.compared.card(i).lines()) for i in range(1, len(self.all))]

    def notes(self) -> list[str]:
        """What keeps the comparison from being one of equals, and what an exchange left behind."""
        found = list(self.compared.notes) if self.compared is not None else []
        return found + [f"{c['letter']}: {c['said']}." for c in self.columns() if c["said"]]


def _options(state: State, workspace: Workspace) -> Options:
    opened = open_state(state, workspace)
    return Options(opened, others_of(opened, workspace))


def show(request: Request) -> Response:
    """The whole page."""
    workspace: Workspace = request.app.state.workspace
    state = parse(request.url.query)
    faults: list[dict[str, str]] = []
    try:
        options = _options(state, workspace)
    except Refused as refused:
        if not state.more and not state.changes:
            raise
        faults = fault_rows(refused.faults)
        options = _options(State(machine=state.machine, file=state.file, unit_set=state.unit_set), workspace)
    opened = options.opened
    return page_reply(
        request, "options.html", here="options", opened=opened, state=opened.state, known=opened.content.digest,
        query=opened.state.without_more().query(), options=options, choices=choices(opened, workspace), most=MOST,
        faults=faults, others=opened.state.own_all("other"), body=piece("options/body.html", options=options),
    )  # fmt: skip


async def answer(request: Request) -> Response:
    """The comparison of another address."""
    body = await body_of(request)
    return await run_in_threadpool(_answer, request.app.state.workspace, body)


def _answer(workspace: Workspace, body: dict[str, Any]) -> Response:
    options = _options(parse(text_in(body, "query")), workspace)
    return json_reply({"pieces": {"body": piece("options/body.html", options=options)}})


PAGE = Page(
    name="options",
    title="Options",
    place=40,
    routes=(Route("/options", show), Route("/options/answer", answer, methods=["POST"])),
)
