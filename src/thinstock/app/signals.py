"""A historian's signals on the survey page: files of the workspace looked through as a job, rounds kept as tables.

A file stands in the workspace (any size) or is one of the bundled; a small one can be brought. What is found is what
`thinstock history` and `thinstock drift` find: the same functions.
"""

from __future__ import annotations

import base64
import binascii
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.reply import body_of, json_reply, piece, refused_reply, text_in
from thinstock.app.state import open_state, parse
from thinstock.app.survey_work import Looked
from thinstock.case import dumps
from thinstock.errors import Refused
from thinstock.files.write import put
from thinstock.survey.historian import bundled_or
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.work.workspace import Workspace

WORK = "thinstock.app.survey_work:history"
BRING = "/survey/signals/bring"
"""Address whose body may carry a file."""
LONGEST = 400
MOST_FILES = 12
ENDINGS = (".csv", ".parquet", ".txt", ".tsv", ".xlsx")


def files_of(workspace: Workspace) -> list[str]:
    """Files of the workspace that may hold signals or tags, by name."""
    return sorted(name for ending in ENDINGS for name in Workspace(workspace.folder, ending).files())


def place_of(workspace: Workspace, said: str, field: str, end: str = "") -> Path:
    """The file of a name: one of the workspace, never outside it or over a link, or a bundled one."""
    name = said.strip()
    suffix = Path(name).suffix.lower()
    place = bundled_or(name, end) if not suffix else Workspace(workspace.folder, suffix).path(name)
    if suffix not in ("", *ENDINGS) or not place.is_file() or (not suffix and place == Path(name)):
        raise Refused(fault_in("app.signals.no_file", field, name[:LONGEST]))
    return place


async def start(request: Request) -> Response:
    """Start to look through signals."""
    body = await body_of(request)
    try:
        wanted = await run_in_threadpool(_wanted, request.app.state.workspace, body)
    except Refused as refused:
        return refused_reply(refused)
    return json_reply({"job": request.app.state.jobs.start(WORK, wanted)})


def _wanted(workspace: Workspace, body: dict[str, Any]) -> dict[str, Any]:
    opened = open_state(parse(text_in(body, "query")), workspace)
    said = {name: text_in(body, name, "").strip()[:LONGEST] for name in ("zone", "begin", "end", "length", "tags")}
    names = [line for line in text_in(body, "files").splitlines() if line.strip()][:MOST_FILES]
    if not names:
        raise Refused(fault_in("app.signals.no_file", "files", "''"))
    return {
        **said,
        "folder": str(workspace.folder),
        "machine": dumps(opened.machine),
        "files": [str(place_of(workspace, name, "files")) for name in names],
        "tags": str(place_of(workspace, said["tags"], "tags", "-tags")) if said["tags"] else "",
        "drift": body.get("drift") is True,
    }


def shown(request: Request) -> Response:
    """What was found in the signals."""
    found = request.app.state.jobs.result(request.path_params["key"], Looked)
    if found is None:
        raise HTTPException(404)
    return json_reply({"pieces": {"signals": piece("survey/signals.html", looked=found)}, "rounds": len(found.rounds)})


async def keep(request: Request) -> Response:
    """Put the rounds into the workspace; what is there is never written over."""
    body = await body_of(request)
    found = request.app.state.jobs.result(text_in(body, "job", ""), Looked)
    if found is None:
        raise HTTPException(404)
    return await run_in_threadpool(_keep, request.app.state.workspace, found)


def _keep(workspace: Workspace, found: Looked) -> Response:
    tables = Workspace(workspace.folder, ".csv")
    names = []
    for name, text in found.rounds:
        free = tables.free_name(name)
        tables.write(free, text)
        names.append(free)
    return json_reply({"names": names, "said": phrase("app.signals.kept", names=", ".join(names))})


async def bring(request: Request) -> Response:
    """Take a file of signals or tags into the workspace as it is."""
    body = await body_of(request)
    return await run_in_threadpool(_bring, request.app.state.workspace, body)


def _bring(workspace: Workspace, body: dict[str, Any]) -> Response:
    name = text_in(body, "name").replace("\\", "/").rsplit("/", 1)[-1][:100]
    try:
        raw = base64.b64decode(text_in(body, "content"), validate=True)
    except binascii.Error:
        raise HTTPException(400) from None
    stem, dot, ending = name.rpartition(".")
    if f"{dot}{ending}".lower() not in ENDINGS or not stem:
        return refused_reply(Refused(fault_in("app.signals.kind", "file", name, known=", ".join(ENDINGS))))
    kept = Workspace(workspace.folder, f".{ending}")
    free = kept.free_name(name)
    put(kept.path(free), raw, new=True)
    return json_reply({"name": free})


ROUTES = (
    Route("/survey/signals/start", start, methods=["POST"]),
    Route("/survey/signals/keep", keep, methods=["POST"]),
    Route(BRING, bring, methods=["POST"]),
    Route("/survey/signals/found/{key}", shown),
)
