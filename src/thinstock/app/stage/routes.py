"""What the stage asks for: its page, a scene at a place of its slider, the answer and the workings, and pictures."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.reply import body_of, json_reply, page_reply, text_in
from thinstock.app.stage.opened import PICTURES, Opened, lessons_in, opened
from thinstock.app.words import catalogue
from thinstock.drawing import typeface
from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.lesson.library import bundled, lesson_names
from thinstock.lesson.model import Scene
from thinstock.lesson.played import Stage
from thinstock.lesson.record import answer_record, notes_record, scene_record
from thinstock.work.workspace import Workspace


def listing(request: Request) -> Response:
    """The lessons there are: bundled and in the workspace; a file that cannot be read says why at its place."""
    workspace: Workspace = request.app.state.workspace
    rows: list[dict[str, Any]] = []
    for name in lessons_in(workspace).files():
        row: dict[str, Any] = {"file": name, "lesson": None, "faults": ()}
        try:
            row["lesson"] = opened(urlencode({"file": name}), workspace).lesson
        except Refused as refused:
            row["faults"] = refused.faults
        rows.append(row)
    return page_reply(
        request, "lessons.html", here="lessons", known=[bundled(name) for name in lesson_names()], own=rows, query=""
    )


def stage(request: Request) -> Response:
    """The stage itself, or the trainer's own screen."""
    found = opened(request.url.query, request.app.state.workspace)
    notes = "notes" in request.query_params
    data = {
        "query": found.query, "title": found.lesson.title, "minutes": found.lesson.minutes, "notes": notes,
        "scenes": notes_record(found.lesson), "words": catalogue()["stage"],
    }  # fmt: skip
    return page_reply(request, "stage.html", here="lessons", lesson=found.lesson, data=data, notes=notes, query="")


def scene_of(found: Opened, body: dict[str, Any]) -> tuple[Scene, float | None]:
    """The scene that is meant, and the place of its slider."""
    index, share = body.get("index"), body.get("share")
    if not isinstance(index, int) or isinstance(index, bool) or not 0 <= index < len(found.lesson.scenes):
        raise HTTPException(400)
    if share is not None and (isinstance(share, bool) or not isinstance(share, int | float) or not 0 <= share <= 1):
        raise HTTPException(400)
    return found.lesson.scenes[index], None if share is None else float(share)


async def scene(request: Request) -> Response:
    """A scene at one place of its slider."""
    return await run_in_threadpool(_scene, request.app.state.workspace, await body_of(request))


def _scene(workspace: Workspace, body: dict[str, Any]) -> Response:
    found = opened(text_in(body, "query"), workspace)
    shown, share = scene_of(found, body)
    width = body.get("width", 1024)
    if not isinstance(width, int | float) or isinstance(width, bool) or not 1 <= width <= 20000:
        raise HTTPException(400)
    with worksheet(False):
        made = scene_record(
            shown, found.files, float(width), share=share, hidden=body.get("hidden") is True, image=PICTURES.address
        )
    return json_reply(made)


async def told(request: Request) -> Response:
    """The answer of a scene's question, and the working of its numbers."""
    return await run_in_threadpool(_told, request.app.state.workspace, await body_of(request))


def _told(workspace: Workspace, body: dict[str, Any]) -> Response:
    found = opened(text_in(body, "query"), workspace)
    shown, share = scene_of(found, body)
    made = Stage(shown, found.files, share)
    if text_in(body, "what", "answer") == "answer":
        return json_reply({"answer": answer_record(made.answer())})
    return json_reply({"workings": [[title, list(lines)] for title, lines in made.workings()]})


def picture(request: Request) -> Response:
    """A picture of a scene."""
    content = PICTURES.get(request.path_params["key"])
    if content is None:
        raise HTTPException(404)
    return Response(content, media_type="image/png", headers={"cache-control": "private, max-age=86400, immutable"})


def serif(request: Request) -> Response:
    """The typeface of what is said."""
    cut = request.path_params["cut"]
    made = typeface.serif(cut) if cut in typeface.CUTS else None
    if made is None:
        raise HTTPException(404)
    return Response(made, media_type="font/woff", headers={"cache-control": "max-age=86400"})


def css(request: Request) -> Response:
    """How lit and pale parts of a drawing look on the page."""
    from thinstock.lesson.shows.canvas import rules

    return Response(rules("page"), media_type="text/css; charset=utf-8", headers={"cache-control": "no-cache"})


ROUTES: tuple[Route, ...] = (
    Route("/lessons", listing),
    Route("/lessons/stage", stage),
    Route("/lessons/scene", scene, methods=["POST"]),
    Route("/lessons/told", told, methods=["POST"]),
    Route("/lessons/picture/{key}.png", picture),
    Route("/lessons/scenes.css", css),
    Route("/lessons/serif/{cut}.woff", serif),
)
