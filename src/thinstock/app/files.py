"""Opening, saving, dropping and downloading: the workspace's files and what a run leaves to take away.

A file is only written when the page says which content it started from; what someone else wrote in the meantime stays.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock import loads, machines
from thinstock.app.reply import attachment, body_of, json_reply, refused_reply, text_in
from thinstock.app.state import Opened, State, open_state, parse
from thinstock.case import dumps
from thinstock.errors import Refused, needs, visible_in
from thinstock.lesson.library import ENDING as LESSONS
from thinstock.tell.export import run_record, tables
from thinstock.tell.record import plain
from thinstock.tell.tables import workbook
from thinstock.work.workspace import ENDING, Changed, Workspace, digest_of

LARGE = ("/files/drop", "/survey/signals/bring")
"""Addresses whose body may carry a file."""
LONGEST_TITLE = 200


def listing(request: Request) -> Response:
    """What can be opened."""
    workspace: Workspace = request.app.state.workspace
    bundled = [
        {"query": State(machine=m.name).query(), "name": m.name, "title": m.title,
         "about": "; ".join(t for t in (m.grade, m.former, m.press) if t)}
        for m in machines()
    ]  # fmt: skip
    names = [name for name in workspace.files() if not name.endswith(LESSONS)]
    files = [{"query": State(file=name).query(), "name": name} for name in names]
    return json_reply({"bundled": bundled, "files": files})


async def save(request: Request) -> Response:
    """Write the machine of an address into the workspace."""
    body = await body_of(request)
    return await run_in_threadpool(_save, request.app.state.workspace, body)


def _save(workspace: Workspace, body: dict[str, Any]) -> Response:
    name, known = text_in(body, "name").strip(), text_in(body, "known", "")
    if name and not name.lower().endswith(ENDING):
        name += ENDING
    opened = open_state(parse(text_in(body, "query")), workspace)
    title = text_in(body, "title", "").strip()[:LONGEST_TITLE]
    machine = opened.machine.with_({"title": title}) if title and title != opened.machine.title else opened.machine
    try:
        written = workspace.write(name, dumps(machine), known=known)
    except Changed as changed:
        told = {"changed": changed.faults[0].bound, "name": name, "known": _now(workspace, name)}
        return json_reply(told, status=409)
    state = State(file=name, unit_set=opened.state.unit_set)
    return json_reply({"query": state.query(), "name": name, "known": written.digest})


def _now(workspace: Workspace, name: str) -> str:
    try:
        return workspace.read(name).digest
    except Refused:
        return ""


async def drop(request: Request) -> Response:
    """Take a machine file into the workspace, if it is one."""
    body = await body_of(request)
    return await run_in_threadpool(_drop, request.app.state.workspace, body)


def _drop(workspace: Workspace, body: dict[str, Any]) -> Response:
    name, text = text_in(body, "name"), text_in(body, "text")
    shown = name.replace("\\", "/").rsplit("/", 1)[-1][:100] or f"machine{ENDING}"
    try:
        loads(text, shown)
    except Refused as refused:
        return refused_reply(refused)
    for kept in workspace.files():
        if kept == shown and workspace.read(kept).digest == digest_of(text.encode("utf-8")):
            return json_reply({"query": State(file=kept).query(), "name": kept})
    free = workspace.free_name(shown)
    workspace.write(free, text)
    return json_reply({"query": State(file=free).query(), "name": free})


# -- downloads -----------------------------------------------------------------------------------------------------


def download(request: Request) -> Response:
    """The machine, its run or its drawing, as a file."""
    what = request.path_params["what"]
    if what not in _KINDS:
        raise HTTPException(404)
    opened = open_state(parse(request.url.query), request.app.state.workspace)
    stem = opened.content.name.rsplit("/", 1)[-1].removesuffix(ENDING)
    if opened.state.changes or opened.state.former or opened.state.press:
        stem += " changed"
    content, kind = _KINDS[what](opened)
    return attachment(content, kind, f"{stem}.{what}")


def _toml(opened: Opened) -> tuple[bytes, str]:
    return dumps(opened.machine).encode("utf-8"), "application/toml"


def _json(opened: Opened) -> tuple[bytes, str]:
    record = visible_in(plain(run_record(opened.machine.run())))
    return json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1).encode("utf-8"), "application/json"


def _zip(opened: Opened) -> tuple[bytes, str]:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in tables(opened.machine.run(), opened.state.unit_set).items():
            archive.writestr(name, text.encode("utf-8-sig"))
    return held.getvalue(), "application/zip"


def _xlsx(opened: Opened) -> tuple[bytes, str]:
    found = {name: list(csv.reader(io.StringIO(text))) for name, text in
             tables(opened.machine.run(), opened.state.unit_set).items()}  # fmt: skip
    return workbook(found), "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _svg(opened: Opened) -> tuple[bytes, str]:
    from thinstock.app.pictures import drawing_file

    return drawing_file(opened.machine.run()).encode("utf-8"), "image/svg+xml"


def _png(opened: Opened) -> tuple[bytes, str]:
    vl_convert = needs("vl_convert", "page")

    return bytes(vl_convert.svg_to_png(_svg(opened)[0].decode("utf-8"), scale=2)), "image/png"


_KINDS = {"toml": _toml, "json": _json, "zip": _zip, "xlsx": _xlsx, "svg": _svg, "png": _png}


def chart(request: Request) -> Response:
    """A drawing or chart of a machine, as a picture or its rows."""
    from thinstock.app.taken import KINDS, taken
    from thinstock.tell.teller import Teller

    name, _, kind = request.path_params["name"].rpartition(".")
    opened = open_state(parse(request.url.query), request.app.state.workspace)
    content = taken(Teller(opened.machine, opened.state.unit_set), name, kind)
    if content is None:
        raise HTTPException(404)
    return attachment(content, KINDS[kind], f"{name.replace('_', ' ')}.{kind}")


ROUTES = [
    Route("/files", listing),
    Route("/files/save", save, methods=["POST"]),
    Route("/files/drop", drop, methods=["POST"]),
    Route("/download/chart/{name}", chart),
    Route("/download/{what}", download),
]
