"""What can be taken away of a lesson: paper, slides, one offline file, clips; by the ending of its file."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.reply import attachment
from thinstock.app.stage.offline import html
from thinstock.app.stage.opened import Opened, opened
from thinstock.app.words import say
from thinstock.formula.label import worksheet
from thinstock.lesson.layout import HEIGHT
from thinstock.lesson.model import Lesson
from thinstock.lesson.out.frame import frame
from thinstock.lesson.out.paper import pdf
from thinstock.lesson.out.pixels import png
from thinstock.lesson.out.scenes import inside
from thinstock.lesson.out.slides import pptx
from thinstock.lesson.record import scene_record
from thinstock.lesson.subject import Files

Make = Callable[[Lesson, Files, bool], bytes]
KINDS: dict[str, tuple[str, Make]] = {
    "pdf": ("application/pdf", lambda lesson, files, notes: pdf(lesson, files, notes=notes)),
    "pptx": ("application/vnd.openxmlformats-officedocument.presentationml.presentation",
             lambda lesson, files, notes: pptx(lesson, files)),
    "html": ("text/html; charset=utf-8", lambda lesson, files, notes: html(lesson, files).encode("utf-8")),
}  # fmt: skip
"""Media type of each and how it is made: lesson, its machine files, with the trainer's notes or without."""


async def taken(request: Request) -> Response:
    """A lesson as a file."""
    kind = request.path_params["kind"]
    if kind not in KINDS:
        raise HTTPException(404)
    found = opened(request.url.query, request.app.state.workspace)
    media, make = KINDS[kind]
    content = await run_in_threadpool(make, found.lesson, found.files, "without" not in request.query_params)
    return attachment(content, media, f"{found.lesson.title}.{kind}")


def _table(record: dict[str, Any]) -> bytes:
    """The numbers of a scene as CSV."""
    held = io.StringIO()
    rows = csv.writer(held)
    rows.writerow([say("lessons.column_what"), say("lessons.column_value"), say("lessons.column_unit")])
    slider = record["slider"]
    if slider is not None:
        rows.writerow([slider["label"], slider["value"], slider["unit"]])
    rows.writerows([n["label"], n["value"], n["unit"]] for n in record["numbers"])
    return held.getvalue().encode("utf-8-sig")


SCENES: dict[str, tuple[str, Callable[[dict[str, Any]], bytes]]] = {
    "svg": ("image/svg+xml", lambda record: frame(record, said=len(record["lines"]), theme="print").encode("utf-8")),
    "png": ("image/png", lambda record: png(frame(record, said=len(record["lines"]), theme="print"), scale=3.0)),
    "csv": ("text/csv; charset=utf-8", _table),
}
"""A scene as it stands: vector, points for print, its numbers."""


async def scene(request: Request) -> Response:
    """One scene at a place of its slider, as a picture or its numbers as a table."""
    kind, number = request.path_params["kind"], request.query_params.get("scene", "1")
    if kind not in SCENES or not number.isdecimal():
        raise HTTPException(404)
    found = opened(request.url.query, request.app.state.workspace)
    if not 1 <= int(number) <= len(found.lesson.scenes):
        raise HTTPException(404)
    return await run_in_threadpool(_scene, found, int(number) - 1, kind, request.query_params.get("share", ""))


def _scene(found: Opened, index: int, kind: str, share: str) -> Response:
    one = found.lesson.scenes[index]
    try:
        at = min(max(float(share), 0.0), 1.0) if share else None
    except ValueError:
        raise HTTPException(404) from None
    with worksheet(False):
        record = scene_record(one, found.files, HEIGHT * 16 / 9, share=at, image=inside, theme="print")
    media, make = SCENES[kind]
    return attachment(make(record), media, f"{one.title}.{kind}")


ROUTES = (Route("/lessons/take/lesson.{kind}", taken), Route("/lessons/take/scene.{kind}", scene))
