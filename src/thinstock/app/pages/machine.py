"""The machine page: twelve numbers and what becomes of them, from the headline to the last stream.

A quick answer (one run, its drawing and its charts) follows every change; limits and uncertainties come when the person
stops. Both are pieces of the same page, so that a page opened by its address shows the same as one changed by hand.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import replace
from hashlib import sha256
from threading import Lock
from typing import Any, Generic, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app import pictures
from thinstock.app.changes import drawing_shown, in_sight, know, new_to, shown_in
from thinstock.app.forms import Form, Group, Row, all_rows, twelve
from thinstock.app.pages import Page
from thinstock.app.reply import body_of, json_reply, page_reply, piece, refused_reply, text_in
from thinstock.app.show import found, press_in_words
from thinstock.app.state import Opened, State, content_of, fault_rows, open_state, parse
from thinstock.app.taken import courses
from thinstock.app.turns import Turns
from thinstock.errors import Refused
from thinstock.machine.kept import WetEnds, keeping
from thinstock.machine.limits import Limits
from thinstock.machine.line import HOLDERS
from thinstock.machine.provenance import in_words
from thinstock.machine.result import Result
from thinstock.studies.benchmarks import benchmarks
from thinstock.studies.exchange import formers, presses
from thinstock.tell import benchmarks as beside
from thinstock.tell import circuits, trouble, watch
from thinstock.tell.blocks import Block, words
from thinstock.tell.cells import finite
from thinstock.tell.run import Run, limits_at, told
from thinstock.tell.wet_end_costs import QUESTIONS, asked
from thinstock.words import address
from thinstock.words.figures import Edge
from thinstock.words.phrase import capital, listed
from thinstock.work.workers import Lost
from thinstock.work.workspace import Workspace

QUICK = ("water", "energy", "stations", "furnish", "notes")
SLOW = ("limits", "certainty", "streams", "sources")
"""Pieces that only a full answer brings, beside what gives out first; `costs` come when their section is opened."""


WORKED = {
    "production": "production", "moisture": "reel_moisture", "consistency": "consistency", "flow": "flow_per_width",
    "forming": "end_of_forming", "press": "dryness_press", "energy": "steam_per_product",
}  # fmt: skip
"""The number whose working a headline opens."""


def show(request: Request) -> Response:
    """The whole page."""
    workspace: Workspace = request.app.state.workspace
    state = parse(request.url.query)
    content = content_of(state, workspace)
    faults: list[dict[str, str]] = []
    try:
        opened = open_state(state, workspace)
    except Refused as refused:
        if not state.changes:
            raise
        faults = fault_rows(refused.faults)
        opened = open_state(State(machine=state.machine, file=state.file, unit_set=state.unit_set), workspace)
    values = _page(opened)
    if request.app.state.workers is not None:
        request.app.state.workers.start()
    return page_reply(
        request, "machine.html", here="machine", opened=opened, known=content.digest,
        faults=faults, **values,
    )  # fmt: skip


async def answer(request: Request) -> Response:
    """What a change does: pieces of the page."""
    body = await body_of(request)
    return await run_in_threadpool(_in_turn, request, body, _TURNS.asked(body))


_TURNS = Turns()


def _in_turn(request: Request, body: dict[str, Any], asked: tuple[str, int]) -> Response:
    """An answer when its turn has come, from a process of its own where one is ready."""
    quick = body.get("part") == "quick"
    workspace, workers = request.app.state.workspace, request.app.state.workers
    worker = workers.of(asked[0], 0 if quick else 1) if workers is not None else None
    if worker is not None:
        with _TURNS.row(asked, quick=quick, at=worker.number):
            try:
                status, content = worker.answer(0 if quick else 1, (str(workspace.folder), body, drawing_shown(body)))
            except Lost:
                workers.start()
            else:
                if not content:
                    raise HTTPException(status)
                return Response(content, status, media_type="application/json")
    with _TURNS.row(asked, quick=quick):
        return _answer(workspace, body)


def answer_apart(question: tuple[str, dict[str, Any], str | None]) -> tuple[int, bytes]:
    """The answer to a question of a workspace in a process of its own: status and content, empty where it has none.

    The drawing that the page shows comes along where the server sent it.
    """
    folder, body, drawing = question
    know(drawing)
    try:
        reply = _answer(Workspace(folder), body)
    except Refused as refused:
        reply = refused_reply(refused)
    except HTTPException as wrong:
        return wrong.status_code, b""
    return reply.status_code, bytes(reply.body)


APART = "thinstock.app.pages.machine:answer_apart"
FIRST_APART = ({"query": "", "part": "quick"}, {"query": "", "part": "limits"})
"""What such a process answers first, unheard."""


def _answer(workspace: Workspace, body: dict[str, Any]) -> Response:
    opened = open_state(parse(text_in(body, "query")), workspace)
    part = text_in(body, "part", "full")
    full = part == "full"
    shows, sight = shown_in(body), None if full else in_sight(body)
    if part == "limits":
        return _limits(opened, shows)
    stands, narrow = _stands(opened), body.get("narrow") is True
    known = _LIMITS.find(stands) if full else None
    shown = told(opened.machine, opened.state.unit_set, full=full, result=_run(opened, stands), known=known)
    form = Form(opened.machine, opened.base, opened.state.unit_set)
    reply: dict[str, Any] = {
        "query": opened.state.query(),
        "known": opened.content.digest,
        **new_to(shows, pieces(shown, full=full, narrow=narrow, sight=sight, drawn=full and body.get("drawn") is True)),
        "charts": pictures.chart_data(shown.result, opened.state.unit_set, sight),
        "rows": [_row_told(form.row(where)) for where, _ in opened.state.changes],
        "found": found(shown),
        "title": opened.machine.title,
        "full": full,
    }
    structure = structure_of(opened)
    if structure != text_in(body, "structure", ""):
        reply["structure"] = structure
        reply["form"] = piece("form.html", **_form(opened))
    return json_reply(reply)


Kept = TypeVar("Kept")


class _Last(Generic[Kept]):
    """What was worked out last, for the answers to the same question that follow: a cache and nothing else."""

    MOST = 16

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[str, str], Kept] = OrderedDict()
        self._lock = Lock()

    def find(self, key: tuple[str, str]) -> Kept | None:
        with self._lock:
            return self._held.get(key)

    def keep(self, key: tuple[str, str], made: Kept) -> Kept:
        with self._lock:
            self._held[key] = made
            while len(self._held) > self.MOST:
                self._held.popitem(last=False)
        return made


_LIMITS = _Last[Limits]()
_RUNS = _Last[Result]()
_WET_ENDS = WetEnds()
"""What wet ends did: a slider of dryer or hood leaves them as they were."""


def _stands(opened: Opened) -> tuple[str, str]:
    """What a machine's run and its limits hang on."""
    return opened.content.text, replace(opened.state.without_more(), unit_set="mill").query()


def _run(opened: Opened, stands: tuple[str, str]) -> Result:
    """The run of a machine, the one that was told last where that is of the same machine."""
    found = _RUNS.find(stands)
    if found is not None:
        return found
    with keeping(_WET_ENDS):
        return _RUNS.keep(stands, opened.machine.run())


def _limits(opened: Opened, shows: dict[str, str]) -> Response:
    """The limits alone, as soon as the person stops: the rest of the full answer takes longer."""
    stands = _stands(opened)
    result = _run(opened, stands)
    found = _LIMITS.find(stands)
    if found is None:
        found = _LIMITS.keep(stands, limits_at(opened.machine, result))
    shown = told(opened.machine, opened.state.unit_set, full=False, result=result, known=found)
    first = next(fact for fact in shown.facts().rows if fact.key == "first")
    pieces = {
        "fact-first": piece("machine/fact.html", fact=first, number=""),
        "limits": piece("machine/limits.html", shown=shown),
    }
    return json_reply({"query": opened.state.query(), **new_to(shows, pieces)})


async def costs(request: Request) -> Response:
    """What a lower freeness costs, or what can be switched off: asked for when its section is opened."""
    body = await body_of(request)
    return await run_in_threadpool(_costs, request.app.state.workspace, body)


def _costs(workspace: Workspace, body: dict[str, Any]) -> Response:
    opened = open_state(parse(text_in(body, "query")), workspace)
    question = text_in(body, "part")
    if question not in (*QUESTIONS, *MORE):
        raise HTTPException(400)
    edge = Edge(unit_set=opened.state.unit_set, air=float(opened.machine.site.atmospheric_pressure()))
    said, drawn = _further(question, opened, edge) if question in MORE else (asked(question, opened.machine, edge), [])
    made = piece("machine/costs.html", told=said, pictures=drawn, query=opened.state.query())
    return json_reply({"pieces": {question: made}})


MORE = ("watch", "benchmarks", "trouble")
"""Further questions whose answer is asked for when its section is opened."""


def _further(question: str, opened: Opened, edge: Edge) -> tuple[list[Block], list[str]]:
    """The answer to one of `MORE`, and pictures where it has any."""
    machine = opened.machine
    if question == "watch":
        try:
            found = courses(machine)
        except Refused as refused:
            return [words(*(f"{capital(fault.bound)}. {fault.remedy}" for fault in refused.faults))], []
        drawn = [pictures.course(course, edge) for course in found]
        return [one for course in found for one in watch.told(course, edge)], drawn
    if question == "benchmarks":
        return list(beside.told(benchmarks(machine))), []
    result = machine.run()
    return list(trouble.all_told(result, limits_at(machine, result), edge)), []


def pieces(
    shown: Run, *, full: bool, narrow: bool = False, sight: frozenset[str] | None = None, drawn: bool = False
) -> dict[str, str]:
    """The pieces of the page by the name of their place; of those that may be out of sight only what is in it.

    The drawing is not made once more where it is `drawn`.
    """
    made = {
        f"fact-{fact.key}": piece("machine/fact.html", fact=fact, number=_worked(shown, fact.key))
        for fact in shown.facts().rows
        if fact.pieces
    }
    if not drawn and _wanted("drawing", sight):
        made["drawing"] = pictures.drawing(shown.result, narrow=narrow, unit_set=shown.edge.unit_set)
    if full:
        made["drawing-words"] = pictures.drawing_words(shown.result)
    if shown.machine.circuit is not None and _wanted("circuits", sight):
        made["circuits"] = piece("machine/circuits.html", told=list(circuits.told(shown.result, shown.edge)),
                                 scheme=pictures.scheme(shown.result))  # fmt: skip
    names = [name for name in QUICK if _wanted(name, sight)]
    names += ["more"] if _wanted("more", sight) and shown.more() else []
    return made | {name: piece(f"machine/{name}.html", shown=shown) for name in (*names, *(SLOW if full else ()))}


def _wanted(name: str, sight: frozenset[str] | None) -> bool:
    return sight is None or name in sight


def _worked(shown: Run, fact: str) -> str:
    """The number whose working a headline opens; empty where there is none."""
    number = WORKED.get(fact, "")
    return number if finite(shown.result.values.get(number)) else ""


def _page(opened: Opened) -> dict[str, Any]:
    shown = told(opened.machine, opened.state.unit_set)
    made = pieces(shown, full=True)
    return {
        "shown": shown,
        "pieces": made,
        "marks": new_to({}, made)["marks"],
        "figures": pictures.figures(shown.result, opened.state.unit_set),
        "structure": structure_of(opened),
        **_form(opened, found(shown)),
    }


def _form(opened: Opened, known: dict[str, str] | None = None) -> dict[str, Any]:
    """What the form needs."""
    machine = opened.machine
    form = Form(machine, opened.base, opened.state.unit_set)
    names = twelve(machine)
    everything: Group = form.group()
    return {
        "state": opened.state,
        "machine": machine,
        "questions": (*QUESTIONS, *MORE),
        "base": opened.base,
        "twelve": [(name, form.row(name) if "." in name else None) for name in names],
        "twelve_set": {name for name in names if "." in name},
        "everything": everything,
        "count": sum(1 for _ in all_rows(everything)),
        "formers": formers(),
        "presses": presses(),
        "own_press": press_in_words(machine if not opened.state.press else opened.base),
        "holders": HOLDERS if machine.yankee is not None else ("nothing",),
        "found": known or {},
        "taken": listed(opened.taken),
        "left": listed(opened.said),
        "dropped": listed(in_words(machine, where) for where in opened.dropped),
    }


def _row_told(row: Row) -> dict[str, Any]:
    return {"address": row.address, "text": row.text, "unit": row.unit, "changed": row.changed}


def structure_of(opened: Opened) -> str:
    """A mark of what the form was made from, so that the page knows when its form no longer fits."""
    parts = [opened.content.digest, opened.state.former, opened.state.press, *opened.dropped]
    parts += address.names(opened.machine)
    return sha256("\n".join(parts).encode()).hexdigest()[:16]


PAGE = Page(
    name="machine",
    title="Machine",
    place=10,
    routes=(
        Route("/machine", show),
        Route("/machine/answer", answer, methods=["POST"]),
        Route("/machine/costs", costs, methods=["POST"]),
    ),
)
