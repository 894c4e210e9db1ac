"""The formers page: every former drawn, its place on one field of speed and consistency, two of them side by side.

The page comes first, the ladder follows: what a former can drain and this machine can supply, the speeds at which
practice ran it, and what disturbs its sheet. A former can be taken over into the machine.
"""

from __future__ import annotations

import csv
import io
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.formers_show import LARGE, Formers
from thinstock.app.forms import Form, Row
from thinstock.app.pages import Page
from thinstock.app.reply import attachment, body_of, json_reply, page_reply, piece, text_in
from thinstock.app.state import Opened, made_of, open_state, parse
from thinstock.errors import needs
from thinstock.studies import exchange, ladder
from thinstock.studies.ladder import OWN
from thinstock.work.workspace import Workspace

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


WIDTHS = {"wide": 880.0, "mid": 640.0, "narrow": 360.0}
"""Widths the field is drawn for, px: beside a panel, alone, on a phone."""
FORMER, SUPPLY = "former", "full"
"""Whose capacity: the former's, or what this machine supplies; the short part of an answer is "quick"."""


def _answer(workspace: Workspace, body: dict[str, Any]) -> Response:
    opened = open_state(parse(text_in(body, "query")), workspace)
    part, width = text_in(body, "part", SUPPLY), WIDTHS.get(text_in(body, "width", "wide"), WIDTHS["wide"])
    full = part != "quick"
    formers = Formers(opened, quick=not full, supply=part != FORMER)
    shown = formers.shown() if full else []
    rungs = formers.rungs
    pieces = {f"strip-{rung.key}": piece("formers/strip.html", lines=formers.lines(rung)) for rung in rungs}
    if full:
        pieces = {
            "row": piece("formers/row.html", shown=shown), "field": formers.field(width=width),
            "brief": piece("formers/brief.html", shown=shown),
            "scale": piece("formers/scale.html", key=formers.key()),
            "shown": piece("formers/shown.html", shown=shown), "unknown": ", ".join(formers.ladder.unknown),
        }  # fmt: skip
    told = {
        "query": opened.state.query(), "pieces": pieces, "full": full,
        "rows": [{"address": r.address, "text": r.text, "changed": r.changed} for r in _asked(opened)],
    }  # fmt: skip
    return json_reply(told)


def taken_along(request: Request) -> Response:
    """The field, or one former alone, as a file: SVG, PNG, and its numbers on the field as CSV."""
    name, _, kind = request.path_params["name"].rpartition(".")
    if kind not in _FILES:
        raise HTTPException(404)
    asked = request.query_params
    opened = open_state(parse(request.url.query), request.app.state.workspace)
    formers = Formers(opened, supply=asked.get("whose", FORMER) == SUPPLY)
    number, rung = formers.numbered(asked.get("lit", OWN) if name == "field" else name)
    if name not in ("field", rung.key):
        raise HTTPException(404)
    if kind == "csv":
        held = io.StringIO()
        head, *rows = formers.rows()
        mine = rows if name == "field" else [row for row in rows if row[0] == str(number)]
        csv.writer(held, lineterminator="\r\n").writerows([head, *mine])
        content = held.getvalue().encode("utf-8-sig")
    else:
        made = formers.field(lit=rung.key, theme="print")
        if name != "field":
            made = formers.picture(rung, (2.0 * LARGE,), "print")[0]
        content = (
            made.encode("utf-8") if kind == "svg" else bytes(needs("vl_convert", "page").svg_to_png(made, scale=2))
        )
    stem = "formers field" if name == "field" else f"former {number} {rung.name}"
    return attachment(content, _FILES[kind], f"{stem}.{kind}")


_FILES = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8"}


PAGE = Page(
    name="formers",
    title="Formers",
    place=30,
    routes=(
        Route("/formers", show),
        Route("/formers/answer", answer, methods=["POST"]),
        Route("/formers/file/{name}", taken_along),
    ),
)
