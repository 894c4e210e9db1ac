"""The survey page: a table of readings on the machine of the address, reconciled, switched on and off, calibrated on.

The table is a bundled one or a file of the workspace; which readings are set aside stands in the address. A file that
is brought is checked first and then copied into the workspace; it is never changed itself.
"""

from __future__ import annotations

import base64
import binascii
import tempfile
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.pages import Page
from thinstock.app.reply import attachment, body_of, json_reply, page_reply, refused_reply, text_in
from thinstock.app.state import Opened, State, fault_rows, open_state, parse
from thinstock.app.survey_show import Calibrated, Reconciled
from thinstock.case import dumps
from thinstock.errors import Refused
from thinstock.survey import findings_of, read_round, write_survey
from thinstock.survey.calibrated import Calibration
from thinstock.survey.findings import Findings
from thinstock.survey.form import form_csv, form_file
from thinstock.survey.machine_calibration import calibrate
from thinstock.survey.round import bundled, table_path
from thinstock.tell.survey import named
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.work.workspace import Workspace, digest_of

TABLE = ".csv"


def tables_of(workspace: Workspace) -> Workspace:
    """The tables of the workspace."""
    return Workspace(workspace.folder, TABLE)


class Surveyed:
    """What one address says: a machine, a table, readings set aside, and whether to calibrate."""

    def __init__(self, opened: Opened, workspace: Workspace) -> None:
        self.opened = opened
        self.tables = tables_of(workspace)
        self.table = opened.state.own("table")
        self.without = tuple(dict.fromkeys(opened.state.own_all("without")))
        self.wants_constants = opened.state.own("calibrate") == "1"
        self.faults: list[dict[str, str]] = []

    @property
    def is_bundled(self) -> bool:
        return self.table in bundled()

    @cached_property
    def findings(self) -> Findings | None:
        """The reconciled round; None without a table, or with one that is refused."""
        if not self.table:
            return None
        try:
            place = self.table if self.is_bundled else self.tables.path(self.table)
            if not self.is_bundled:
                self.tables.read(self.table)
            found: Findings = findings_of(read_round(place, self.opened.machine), without=self.without)
            return found
        except Refused as refused:
            self.faults = fault_rows(refused.faults)
            return None

    @cached_property
    def calibration(self) -> Calibration | None:
        """The calibration on it, if wanted and possible."""
        if not self.wants_constants or self.findings is None:
            return None
        try:
            return calibrate([self.findings.round], without=self.without)
        except Refused as refused:
            self.faults = fault_rows(refused.faults)
            return None

    @property
    def reconciled(self) -> Reconciled | None:
        """The round as it is set on the page."""
        return None if self.findings is None else Reconciled(self.findings)

    @property
    def calibrated(self) -> Calibrated | None:
        """The calibration as it is set on the page."""
        return None if self.calibration is None else Calibrated(self.calibration)

    @property
    def aside(self) -> list[tuple[str, str]]:
        """What is set aside: as the address has it, and in words."""
        readings = self.findings.round.survey.readings if self.findings is not None else ()
        rows = []
        for name in self.without:
            known = name.isdigit() and 0 < int(name) <= len(readings)
            one = readings[int(name) - 1] if known else None
            rows.append((name, named(one.stream, one.quantity) if one is not None else name))
        return rows

    @property
    def text(self) -> str:
        """The table as text, or an empty form."""
        if self.is_bundled:
            return table_path(self.table).read_text(encoding="utf-8")
        if self.table:
            try:
                return self.tables.read(self.table).text
            except Refused:
                pass
        return form_csv(self.opened.machine)

    def query(self, **more: Any) -> str:
        """The address with other values of this page."""
        rows: list[tuple[str, str]] = [("table", self.table)] if self.table else []
        rows += [("without", name) for name in more.get("without", self.without)]
        if more.get("calibrate", self.wants_constants):
            rows.append(("calibrate", "1"))
        return replace(self.opened.state, more=tuple(rows)).query()


def _surveyed(query: str, workspace: Workspace) -> Surveyed:
    return Surveyed(open_state(parse(query), workspace), workspace)


def show(request: Request) -> Response:
    """The whole page."""
    workspace: Workspace = request.app.state.workspace
    found = _surveyed(request.url.query, workspace)
    reconciled, calibrated = found.reconciled, found.calibrated
    return page_reply(
        request, "survey.html", here="survey", opened=found.opened, state=found.opened.state,
        known=found.opened.content.digest, query=found.opened.state.without_more().query(), survey=found,
        reconciled=reconciled, calibrated=calibrated, faults=found.faults, bundled=bundled(),
        files=tables_of(workspace).files(),
    )  # fmt: skip


async def take(request: Request) -> Response:
    """Check a table that was typed or brought, and copy it into the workspace."""
    body = await body_of(request)
    return await run_in_threadpool(_take, request.app.state.workspace, body)


def _take(workspace: Workspace, body: dict[str, Any]) -> Response:
    name = text_in(body, "name", "").replace("\\", "/").rsplit("/", 1)[-1][:100] or f"readings{TABLE}"
    found = _surveyed(text_in(body, "query"), workspace)
    try:
        text = _checked(found, name, body)
    except Refused as refused:
        return refused_reply(refused)
    tables = tables_of(workspace)
    stem = name.rpartition(".")[0] or name
    kept = next((k for k in tables.files() if tables.read(k).digest == digest_of(text.encode("utf-8"))), "")
    if not kept:
        kept = tables.free_name(f"{stem}{TABLE}")
        tables.write(kept, text)
    state = replace(found.opened.state, more=(("table", kept),))
    return json_reply({"query": state.query(), "name": kept})


def _checked(found: Surveyed, name: str, body: dict[str, Any]) -> str:
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
            round_ = read_round(place, found.opened.machine)
        except Refused as refused:
            raise Refused(replace(f, file=name if f.file else f.file) for f in refused.faults) from None
        if not whole:
            return text_in(body, "text")
        copy = Path(folder) / "copy.csv"
        write_survey(round_.survey, copy)
        return copy.read_text(encoding="utf-8")


async def keep(request: Request) -> Response:
    """Put the calibrated machine into the workspace."""
    body = await body_of(request)
    return await run_in_threadpool(_keep, request.app.state.workspace, body)


def _keep(workspace: Workspace, body: dict[str, Any]) -> Response:
    found = _surveyed(text_in(body, "query"), workspace)
    calibration = found.calibration
    if calibration is None:
        fault = fault_in("app.survey.calibration", "calibration")
        return json_reply({"faults": found.faults or fault_rows([fault])}, status=422)
    stem = found.opened.content.name.rsplit("/", 1)[-1].removesuffix(".toml")
    name = workspace.free_name(phrase("app.survey.as_surveyed_toml", stem=stem))
    workspace.write(name, dumps(calibration.machine))
    return json_reply({"query": State(file=name, unit_set=found.opened.state.unit_set).query(), "name": name})


def picture(request: Request) -> Response:
    """How far each reading moved, or the water of every stream, as a picture."""
    from thinstock.drawing.survey_charts import adjustments_svg, water_flow_svg

    made = {"adjustments": adjustments_svg, "water": water_flow_svg}.get(request.path_params["name"])
    found = _surveyed(request.url.query, request.app.state.workspace)
    if made is None or found.findings is None:
        raise HTTPException(404)
    theme = "dark" if found.opened.state.own("theme") == "dark" else "paper"
    return Response(made(found.findings, theme).encode("utf-8"), media_type="image/svg+xml")


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


PAGE = Page(
    name="survey",
    title="Survey",
    place=50,
    routes=(
        Route("/survey", show),
        Route("/survey/take", take, methods=["POST"]),
        Route("/survey/keep", keep, methods=["POST"]),
        Route("/survey/picture/{name}.svg", picture),
        Route("/survey/form/{kind}", form),
    ),
)
