"""The survey page: a table with a cell per reading, balanced as one types, calibrated on, and kept as a file.

The page starts from a bundled table, a file of the workspace or the empty form; what is typed comes with each request
and is kept only when it is saved. A file that is brought is checked first and copied; it is never changed itself.
"""

from __future__ import annotations

import base64
import binascii
import tempfile
from dataclasses import replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app import pictures, signals
from thinstock.app.pages import Page
from thinstock.app.reply import attachment, body_of, json_reply, page_reply, piece, refused_reply, text_in
from thinstock.app.state import Opened, State, fault_rows, open_state, parse
from thinstock.app.survey_lines import (
    Line,
    faults_at,
    in_unit,
    lines_of,
    outcome,
    place_of,
    table_text,
)
from thinstock.app.survey_show import Reconciled
from thinstock.app.survey_work import Kept
from thinstock.case import dumps, loads
from thinstock.errors import Fault, Refused, needs
from thinstock.evidence.file import write_evidence
from thinstock.machine.line import Machine
from thinstock.survey import findings_of, read_round, write_survey
from thinstock.survey.cells import read_cells
from thinstock.survey.findings import Findings
from thinstock.survey.form import form_file, form_heading
from thinstock.survey.round import bundled, table_path
from thinstock.survey.table import COLUMNS
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.work.workspace import Changed, Workspace, digest_of

TABLE = ".csv"
WORK = "thinstock.app.survey_work"
MOST_LINES = 500
LONGEST_CELL = 400


def tables_of(workspace: Workspace) -> Workspace:
    """The tables of the workspace."""
    return Workspace(workspace.folder, TABLE)


@lru_cache(maxsize=6)
def _findings(machine: Machine, text: str, without: tuple[str, ...]) -> Findings:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / f"readings{TABLE}"
        place.write_text(text, encoding="utf-8", newline="")
        found: Findings = findings_of(read_round(place, machine), without=without)
        return found


class Surveyed:
    """A machine, the lines of a table and what they say."""

    def __init__(self, opened: Opened, workspace: Workspace, body: dict[str, Any] | None = None) -> None:
        self.opened, self.tables = opened, tables_of(workspace)
        self.table = opened.state.own("table")
        self.refused: tuple[Fault, ...] = ()
        self.known = ""
        stored, self.heading = self._stored()
        if body is None:
            self.lines = lines_of(opened.machine, stored, self._aside(stored))
        else:
            self.lines = _lines_in(opened.machine, body)

    def _stored(self) -> tuple[list[dict[str, str]], dict[str, str]]:
        """The rows and the heading of the table of the address; none without one, or where it cannot be read."""
        try:
            if not self.table:
                return [], form_heading(self.opened.machine)
            place = table_path(self.table) if self.is_bundled else self.tables.path(self.table)
            if not self.is_bundled:
                self.known = self.tables.read(self.table).digest
            cells = read_cells(place, COLUMNS, "readings", "survey")
            self.refused = tuple(cells.faults)
            return [dict(zip(COLUMNS, row, strict=True)) for _, row in cells.rows], cells.heading
        except Refused as refused:
            self.refused = refused.faults
            return [], form_heading(self.opened.machine)

    @property
    def is_bundled(self) -> bool:
        return self.table in bundled()

    def _aside(self, rows: list[dict[str, str]]) -> list[int]:
        """Numbers of the readings that the address sets aside."""
        asked = set(self.opened.state.own_all("without"))
        filled = [i for i, row in enumerate(rows, start=1) if row["value"]]
        return [
            i for n, i in enumerate(filled, start=1)
            if asked & {str(n), f"{rows[i - 1]['stream']} {rows[i - 1]['quantity']}"}
        ]  # fmt: skip

    def parts(self) -> list[tuple[str, list[tuple[int, Line]]]]:
        """The lines under their headings, each with its place."""
        headings = dict.fromkeys(line.heading for line in self.lines)
        return [(h, [(i, line) for i, line in enumerate(self.lines) if line.heading == h]) for h in headings]

    @cached_property
    def text(self) -> str:
        """The filled lines as a table."""
        return table_text(self.opened.machine, self.lines, self.heading)

    @cached_property
    def without(self) -> tuple[str, ...]:
        """Numbers of the readings set aside, among those filled in."""
        filled = [line for line in self.lines if line.filled]
        return tuple(str(n) for n, line in enumerate(filled, start=1) if line.aside)

    @cached_property
    def findings(self) -> Findings | None:
        """The reconciled round; None where nothing is filled in, or where it is refused."""
        if self.refused or not any(line.filled for line in self.lines):
            return None
        try:
            return _findings(self.opened.machine, self.text, self.without)
        except Refused as refused:
            self.refused = refused.faults
            return None

    @property
    def reconciled(self) -> Reconciled | None:
        """The round as it is set on the page."""
        return None if self.findings is None else Reconciled(self.findings, self.lines)

    @property
    def faults(self) -> list[dict[str, Any]]:
        """What is wrong with the table, by line and column."""
        return faults_at(self.refused, self.lines, self.text)

    def told(self) -> dict[str, Any]:
        """What a change of the table does: what became of each line, and the column beside them."""
        reconciled = self.reconciled
        faults = self.faults
        return {
            "lines": outcome(self.lines, self.findings),
            "faults": faults,
            "aside": [f"{line.cells[0]} {line.cells[1]}" for line in self.lines if line.aside and line.filled],
            "pieces": {
                "verdict": piece("survey/verdict.html", reconciled=reconciled, faults=self.faults, lines=self.lines)
            },
            "culprits": [] if reconciled is None else reconciled.culprits(place_of),
        }


def _lines_in(machine: Machine, body: dict[str, Any]) -> list[Line]:
    """The lines a request brings, each at its row of the form again."""
    rows = body.get("lines")
    if not isinstance(rows, list) or len(rows) > MOST_LINES:
        raise HTTPException(400)
    made = []
    forms = {(line.cells[0], line.cells[1]): line.form for line in lines_of(machine)}
    for row in rows:
        cells = row.get("cells") if isinstance(row, dict) else None
        right = isinstance(cells, list) and len(cells) == len(COLUMNS)
        if not right or not all(isinstance(c, str) and len(c) <= LONGEST_CELL for c in cells or ()):
            raise HTTPException(400)
        texts = tuple(c.strip() for c in cells or ())
        made.append(Line(cells=texts, aside=row.get("aside") is True, form=forms.get((texts[0], texts[1]))))
    return made


def _of_body(body: dict[str, Any], workspace: Workspace) -> Surveyed:
    return Surveyed(open_state(parse(text_in(body, "query")), workspace), workspace, body)


def show(request: Request) -> Response:
    """The whole page."""
    workspace: Workspace = request.app.state.workspace
    found = Surveyed(open_state(parse(request.url.query), workspace), workspace)
    told = {name: value for name, value in found.told().items() if name != "pieces"}
    return page_reply(
        request, "survey.html", here="survey", opened=found.opened, state=found.opened.state,
        query=found.opened.state.without_more().query(), survey=found, told=told, bundled=bundled(),
        files=tables_of(workspace).files(), columns=COLUMNS,
        signal_files=signals.files_of(workspace),
        drawing=pictures.drawing(found.opened.machine.run(), inset=False),
    )  # fmt: skip


async def answer(request: Request) -> Response:
    """Balance the lines as they stand; first change the unit of one, where that is asked."""
    body = await body_of(request)
    return await run_in_threadpool(_answer, request.app.state.workspace, body)


def _answer(workspace: Workspace, body: dict[str, Any]) -> Response:
    found = _of_body(body, workspace)
    turned: dict[str, Any] = {}
    change = body.get("unit")
    if isinstance(change, dict):
        line, unit = str(change.get("line")), text_in(change, "unit")
        place = int(line) if line.isdecimal() else -1
        if not 0 <= place < len(found.lines):
            raise HTTPException(400)
        found.lines[place] = in_unit(found.lines[place], unit, found.heading)
        turned = {"turned": {"line": place, "cells": found.lines[place].cells}}
    return json_reply({**found.told(), **turned})


async def next_reading(request: Request) -> Response:
    """What to read next time: asked for when its part is opened."""
    body = await body_of(request)
    return await run_in_threadpool(_next, request.app.state.workspace, body)


def _next(workspace: Workspace, body: dict[str, Any]) -> Response:
    reconciled = _of_body(body, workspace).reconciled
    lines = [] if reconciled is None else reconciled.next()
    return json_reply({"pieces": {"next": piece("survey/next.html", lines=lines)}})


async def water(request: Request) -> Response:
    """The water of every stream, as a picture of its own."""
    body = await body_of(request)
    return await run_in_threadpool(_water, request.app.state.workspace, body)


def _water(workspace: Workspace, body: dict[str, Any]) -> Response:
    from thinstock.drawing.survey_charts import water_flow_svg, water_rows

    found = _of_body(body, workspace)
    if found.findings is None:
        raise HTTPException(404)
    theme = "dark" if text_in(body, "theme", "") == "dark" else "paper"
    reconciled = found.reconciled
    assert reconciled is not None
    on_white = water_flow_svg(found.findings, "print")
    files = {
        "svg": on_white.encode("utf-8"),
        "png": bytes(needs("vl_convert", "page").svg_to_png(on_white, scale=2)),
        "csv": pictures.csv_of(water_rows(found.findings)),
    }
    return json_reply({
        "svg": water_flow_svg(found.findings, theme), "alt": reconciled.alt("water"),
        "files": {kind: base64.b64encode(made).decode() for kind, made in files.items()},
    })  # fmt: skip


async def report(request: Request) -> Response:
    """The report to hand over, as PDF."""
    body = await body_of(request)
    return await run_in_threadpool(_report, request.app.state.workspace, body)


def _report(workspace: Workspace, body: dict[str, Any]) -> Response:
    from thinstock.tell.survey_report import survey_report

    found = _of_body(body, workspace)
    if found.findings is None:
        return refused_reply(Refused(found.refused or fault_in("app.survey.report", "report")))
    try:
        made = survey_report([found.findings])
    except Refused as refused:
        return refused_reply(refused)
    assert isinstance(made, bytes)
    name = f"{found.findings.round.name}.pdf"
    return json_reply({"pdf": base64.b64encode(made).decode("ascii"), "name": name})


# -- calibrating -------------------------------------------------------------------------------------------------------


def _wanted(found: Surveyed, workspace: Workspace, body: dict[str, Any]) -> dict[str, Any]:
    """What the calibration of these lines needs; refused where they are not there or do not agree."""
    if found.findings is None:
        raise Refused(found.refused or fault_in("app.survey.calibration", "calibration"))
    despite = body.get("despite") is True
    if not (found.findings.passed or despite):
        raise Refused(fault_in("app.survey.disagreement", "calibration"))
    return {
        "folder": str(workspace.folder), "machine": dumps(found.opened.machine), "table": found.text,
        "without": found.without, "despite": despite,
    }  # fmt: skip


async def calibrate(request: Request) -> Response:
    """Start a calibration on the lines as they stand."""
    body = await body_of(request)
    workspace = request.app.state.workspace
    try:
        wanted = await run_in_threadpool(lambda: _wanted(_of_body(body, workspace), workspace, body))
    except Refused as refused:
        return refused_reply(refused)
    return json_reply({"job": request.app.state.jobs.start(f"{WORK}:calibrated", wanted)})


def constants(request: Request) -> Response:
    """What a calibration found."""
    made = request.app.state.jobs.result(request.path_params["key"], Kept)
    if made is None:
        raise HTTPException(404)
    return json_reply({"pieces": {"constants": piece("survey/constants.html", calibrated=made.shown)}})


async def keep(request: Request) -> Response:
    """Put the calibrated machine into the workspace."""
    body = await body_of(request)
    made = request.app.state.jobs.result(text_in(body, "job", ""), Kept)
    if made is None:
        raise HTTPException(404)
    return await run_in_threadpool(_keep, request.app.state.workspace, body, made)


def _keep(workspace: Workspace, body: dict[str, Any], made: Kept) -> Response:
    opened = open_state(parse(text_in(body, "query")), workspace)
    stem = opened.content.name.rsplit("/", 1)[-1].removesuffix(".toml")
    name = workspace.free_name(phrase("app.survey.as_surveyed_toml", stem=stem))
    beside = f"{name.removesuffix('.toml')}.evidence.toml"
    text = dumps(loads(made.text, name).with_({"evidence": beside}))
    if made.evidence is not None:
        write_evidence(replace(made.evidence, machine=loads(text, name)), workspace.folder / beside)
    workspace.write(name, text)
    return json_reply({"query": State(file=name, unit_set=opened.state.unit_set).query(), "name": name})


# -- tables as files ---------------------------------------------------------------------------------------------------


async def save(request: Request) -> Response:
    """Write the lines as a table of the workspace; what someone else wrote there in the meantime stays."""
    body = await body_of(request)
    return await run_in_threadpool(_save, request.app.state.workspace, body)


def _save(workspace: Workspace, body: dict[str, Any]) -> Response:
    found, name = _of_body(body, workspace), text_in(body, "name").strip()
    name = name if name.lower().endswith(TABLE) else f"{name}{TABLE}"
    try:
        found.tables.write(name, found.text, known=text_in(body, "known", ""))
    except Changed as changed:
        return json_reply({"faults": fault_rows(changed.faults)}, status=409)
    rows = [("table", name), *(("without", number) for number in found.without)]
    return json_reply({"query": replace(found.opened.state, more=tuple(rows)).query(), "name": name})


async def take(request: Request) -> Response:
    """Check a table that was brought, and copy it into the workspace."""
    body = await body_of(request)
    return await run_in_threadpool(_take, request.app.state.workspace, body)


def _take(workspace: Workspace, body: dict[str, Any]) -> Response:
    name = text_in(body, "name", "").replace("\\", "/").rsplit("/", 1)[-1][:100] or f"readings{TABLE}"
    opened = open_state(parse(text_in(body, "query")), workspace)
    try:
        text = _checked(opened.machine, name, body)
    except Refused as refused:
        return refused_reply(refused)
    tables = tables_of(workspace)
    stem = name.rpartition(".")[0] or name
    kept = next((k for k in tables.files() if tables.read(k).digest == digest_of(text.encode("utf-8"))), "")
    if not kept:
        kept = tables.free_name(f"{stem}{TABLE}")
        tables.write(kept, text)
    return json_reply({"query": replace(opened.state, more=(("table", kept),)).query(), "name": kept})


def _checked(machine: Machine, name: str, body: dict[str, Any]) -> str:
    """The table as CSV text; refused with every fault where it cannot be read on this machine."""
    with tempfile.TemporaryDirectory() as folder:
        whole = "workbook" in body
        place = Path(folder) / ("readings.xlsx" if whole else "readings.csv")
        if whole:
            try:
                place.write_bytes(base64.b64decode(text_in(body, "workbook"), validate=True))
            except binascii.Error:
                raise HTTPException(400) from None
        else:
            place.write_text(text_in(body, "text"), encoding="utf-8", newline="")
        try:
            round_ = read_round(place, machine)
        except Refused as refused:
            raise Refused(replace(f, file=name if f.file else f.file) for f in refused.faults) from None
        if not whole:
            return text_in(body, "text")
        copy = Path(folder) / "copy.csv"
        write_survey(round_.survey, copy)
        return copy.read_text(encoding="utf-8")


def form(request: Request) -> Response:
    """An empty form for the machine."""
    kind = request.path_params["kind"]
    if kind not in ("csv", "xlsx"):
        raise HTTPException(404)
    opened = open_state(parse(request.url.query), request.app.state.workspace)
    stem = opened.content.name.rsplit("/", 1)[-1].removesuffix(".toml")
    media = {
        "csv": "text/csv; charset=utf-8",
        "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    }
    return attachment(form_file(opened.machine, f"form.{kind}"), media[kind], f"{stem} readings.{kind}")


POSTED = {
    "answer": answer, "next": next_reading, "water": water, "calibrate": calibrate, "keep": keep, "save": save,
    "take": take, "report": report,
}  # fmt: skip
PAGE = Page(
    name="survey",
    title="Survey",
    place=50,
    routes=(
        Route("/survey", show),
        *(Route(f"/survey/{name}", route, methods=["POST"]) for name, route in POSTED.items()),
        Route("/survey/constants/{key}", constants),
        Route("/survey/form/{kind}", form),
        *signals.ROUTES,
    ),
)
