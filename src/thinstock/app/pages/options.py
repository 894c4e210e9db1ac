"""The options page: up to four machines side by side at equal reel dryness, with what is sure about their differences.

The first machine is the page's own; the others are bundled machines, files, or the first with another former or press.
A difference is marked where it is larger than twice its uncertainty; inputs both machines share cancel in that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock import load, machines
from thinstock.app import pictures
from thinstock.app.pages import Page
from thinstock.app.reply import attachment, body_of, json_reply, page_reply, piece, text_in
from thinstock.app.state import Opened, State, made_of, open_state, parse
from thinstock.app.words import say
from thinstock.errors import Refused, needs
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies.compare import Comparison, compare
from thinstock.studies.exchange import formers, presses
from thinstock.tell.blocks import Table
from thinstock.tell.compare import LETTERS, Compared, Side
from thinstock.words.fault import fault_in
from thinstock.words.figures import Edge
from thinstock.words.phrase import phrase
from thinstock.work.workspace import Workspace

MOST = 4


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
        raise Refused(fault_in("app.options.other", "other", f"{len(wanted) + 1} machines", most=MOST))
    found = []
    for number, query in enumerate(wanted):
        state = replace(parse(query).without_more(), unit_set=opened.state.unit_set)
        try:
            found.append(open_state(state, workspace))
        except Refused as refused:
            raise refused.under(LETTERS[number + 1]) from None
    return found


@lru_cache(maxsize=64)
def _paper_of(name: str) -> tuple[float, float, bool]:
    return paper_of(load(name))


def paper_of(machine: Machine) -> tuple[float, float, bool]:
    """What must be the same of two machines between which a rebuild is reckoned."""
    return float(machine.grade.reel_grammage), float(machine.grade.reel_dryness), machine.yankee is not None


def choices(opened: Opened, workspace: Workspace, *, same_paper: bool = False) -> list[Choice]:
    """What can be put beside the machine."""
    own = opened.state.without_more()
    found = []
    if own.changes or own.former or own.press:
        plain = replace(own, changes=(), former="", press="")
        found.append(Choice(group=say("options.same"), text=say("options.as_file"), query=plain.query()))
    found += [Choice(group=say("options.press"), text=p, query=own.query(press=p)) for p in presses()]
    found += [Choice(group=say("options.former"), text=f, query=own.query(former=f)) for f in formers()]
    own_paper = paper_of(opened.machine)
    found += [Choice(group=say("options.bundled"), text=m.title, query=State(machine=m.name).query())
              for m in machines() if not same_paper or _paper_of(m.name) == own_paper]  # fmt: skip
    found += [Choice(group=say("options.files"), text=name, query=State(file=name).query())
              for name in workspace.files()]  # fmt: skip
    return found


class Options:
    """The machines of one address, compared."""

    def __init__(self, opened: Opened, others: list[Opened]) -> None:
        self.opened = opened
        self.all = [opened, *others]
        edge = Edge(unit_set=opened.state.unit_set, air=float(opened.machine.site.atmospheric_pressure()))
        self.compared: Comparison | None = compare(*(one.machine for one in self.all)) if others else None
        self.side = None if self.compared is None else Side(self.compared, edge)

    def columns(self) -> list[dict[str, Any]]:
        """The machines as the heads of the columns."""
        return self._columns

    @cached_property
    def _columns(self) -> list[dict[str, Any]]:
        made = []
        for number, one in enumerate(self.all):
            state = one.state.without_more()
            parts = [part for part in (state.former, state.press) if part]
            parts += [f"{where.rsplit('.', 1)[-1].replace('_', ' ')} {text}" for where, text in state.changes[:3]]
            made.append(
                {
                    "letter": LETTERS[number], "title": one.machine.title, "changes": "; ".join(parts),
                    "said": "; ".join(one.said), "query": state.query(),
                    "drawing": self._drawing(number) if self.side else "",
                }
            )  # fmt: skip
        return made

    @cached_property
    def _results(self) -> tuple[Result, ...]:
        return tuple(one.machine.run() for one in self.all)

    def _drawing(self, number: int) -> str:
        """One machine at the scale of all, metres and water."""
        unit_set = self.opened.state.unit_set
        return pictures.drawing(self._results[number], inset=False, unit_set=unit_set, beside=self._results)

    def drawing_file(self, number: int) -> str:
        """The same as a file of its own."""
        unit_set = self.opened.state.unit_set
        return pictures.drawing_file(self._results[number], inset=False, unit_set=unit_set, beside=self._results)

    def table(self) -> list[dict[str, str]]:
        """All numbers with their differences as a table: what the bars are drawn from."""
        rows = [*self.rows(), *self.rows(everything=True)]
        heads = [f"{column['letter']} {column['title']}" for column in self.columns()]
        made = []
        for label, unit, cells in rows:
            told = {say("options.number"): label, say("options.unit"): unit}
            for head, cell in zip(heads, cells, strict=True):
                told[head] = cell.text
                if cell is not cells[0]:
                    told[say("options.less", head=head)] = cell.difference
            made.append(told)
        return made

    def rows(self, everything: bool = False) -> list[tuple[str, str, list[Compared]]]:
        """Label, unit and cells of the numbers: those of the headline, or all others."""
        return [] if self.side is None else self.side.numbers(everything=everything, equal=say("options.equal"))

    def speeds(self) -> Table | None:
        """Highest speed of every part in every machine; what gives out first is marked."""
        return None if self.side is None else self.side.speeds_table(phrase("speeds.table.part"), say("options.speeds"))

    def stations(self) -> Table | None:
        """Dryness at the places every machine has."""
        return (
            None
            if self.side is None
            else self.side.stations_table(phrase("run.stations.place"), say("options.stations"))
        )

    def consumers(self) -> Table | None:
        """Energy of every consumer."""
        heads = (phrase("run.users.name"), phrase("run.users.kind"))
        return None if self.side is None else self.side.consumers_table(heads, phrase("run.users.caption"))

    def splits(self) -> list[tuple[str, Table]]:
        """Where the change of a press comes from, per machine."""
        heads = [say(f"options.split_{n}") for n in ("number", "total", "load", "rewet", "rest")]
        return [] if self.side is None else self.side.splits_tables(heads)

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
    options, faults = made_of(lambda state: _options(state, workspace), parse(request.url.query), more=True)
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


def taken_along(request: Request) -> Response:
    """A drawing at the common scale, or the numbers compared, as a file."""
    name, _, kind = request.path_params["name"].rpartition(".")
    options = _options(parse(request.url.query), request.app.state.workspace)
    if (name, kind) == ("numbers", "csv"):
        return attachment(pictures.csv_of(options.table()), "text/csv; charset=utf-8", "options.csv")
    letters = LETTERS[: len(options.all)]
    if name not in letters or kind not in ("svg", "png"):
        raise HTTPException(404)
    made = options.drawing_file(letters.index(name))
    title = f"{name} {options.columns()[letters.index(name)]['title']}.{kind}"
    if kind == "svg":
        return attachment(made.encode("utf-8"), "image/svg+xml", title)
    return attachment(bytes(needs("vl_convert", "page").svg_to_png(made, scale=2)), "image/png", title)


PAGE = Page(
    name="options",
    title="Options",
    place=40,
    routes=(
        Route("/options", show),
        Route("/options/answer", answer, methods=["POST"]),
        Route("/options/file/{name}", taken_along),
    ),
)
