"""What can be taken away of a lesson: paper, slides, one offline file, clips; by the ending of its file."""

from __future__ import annotations

from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.reply import attachment
from thinstock.app.stage.offline import html
from thinstock.app.stage.opened import opened
from thinstock.lesson.model import Lesson
from thinstock.lesson.out.paper import pdf
from thinstock.lesson.out.slides import pptx
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


ROUTES = (Route("/lessons/take/lesson.{kind}", taken),)
