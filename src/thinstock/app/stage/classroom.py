"""The class as the stage and the trainer's screen see it: how many have answered, the spread, and the way to join."""

from __future__ import annotations

import io
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.reply import attachment, body_of, json_reply, text_in
from thinstock.app.stage.opened import opened
from thinstock.app.stage.routes import scene_of
from thinstock.errors import needs
from thinstock.lesson.listener import Listener
from thinstock.lesson.played import Stage, amount_ok
from thinstock.lesson.room import Question
from thinstock.work.workspace import Workspace


def _listener(request: Request) -> Listener:
    found = request.app.state.guests
    if not isinstance(found, Listener):
        raise HTTPException(404)
    return found


def state(request: Request) -> Response:
    """Whether there is a class, how it joins, and the answers so far: numbers alone."""
    found = request.app.state.guests
    if not isinstance(found, Listener):
        return json_reply({"on": False})
    room = found.room
    asked = room.question
    return json_reply({
        "on": True, "url": found.url, "code": room.code, "guests": room.guests,
        "asked": asked is not None, "open": asked is not None and asked[1], "answers": room.answers(),
    })  # fmt: skip


async def ask(request: Request) -> Response:
    """The stage has come to a scene: its question is put, or none."""
    return await run_in_threadpool(_ask, _listener(request), request.app.state.workspace, await body_of(request))


def _ask(guests: Listener, workspace: Workspace, body: dict[str, Any]) -> Response:
    found = opened(text_in(body, "query"), workspace)
    scene, share = scene_of(found, body)
    if scene.ask is None:
        guests.room.rest()
        return json_reply({"asked": False})
    stage = Stage(scene, found.files, share)
    answer = stage.answer()
    assert answer is not None
    guests.room.ask(Question(
        scene=scene.name, text=stage.asked(), unit=answer.unit, choices=scene.ask.choices, tolerance=answer.tolerance,
    ))  # fmt: skip
    return json_reply({"asked": True})


async def reveal(request: Request) -> Response:
    """No more answers are taken; how many were right is told."""
    return await run_in_threadpool(_reveal, _listener(request), request.app.state.workspace, await body_of(request))


def _reveal(guests: Listener, workspace: Workspace, body: dict[str, Any]) -> Response:
    found = opened(text_in(body, "query"), workspace)
    scene, share = scene_of(found, body)
    answer = Stage(scene, found.files, share).answer()
    if answer is None:
        return json_reply({"right": 0})
    guests.room.reveal(float(answer.right) if answer.amount is None else answer.amount)
    given = guests.room.answers()
    right = sum(g == answer.right if answer.amount is None else amount_ok(answer, g) for g in given)
    middle = given[len(given) // 2] if given else None
    return json_reply({"right": right, "answers": given, "amount": answer.amount, "choice": answer.right,
                       "tolerance": answer.tolerance, "middle": middle})  # fmt: skip


def code(request: Request) -> Response:
    """The way to join as a picture; the code stands behind a # and so is sent to nobody."""
    guests = _listener(request)
    segno = needs("segno", "page")
    held = io.BytesIO()
    segno.make(f"{guests.url}#{guests.room.code}", error="m").save(held, kind="svg", scale=4, border=3, light="#ffffff")
    return Response(held.getvalue(), media_type="image/svg+xml")


def table(request: Request) -> Response:
    """All answers as CSV."""
    return attachment(_listener(request).room.table().encode("utf-8-sig"), "text/csv; charset=utf-8", "answers.csv")


ROUTES = (
    Route("/lessons/class", state),
    Route("/lessons/class/ask", ask, methods=["POST"]),
    Route("/lessons/class/reveal", reveal, methods=["POST"]),
    Route("/lessons/class/code.svg", code),
    Route("/lessons/class/answers.csv", table),
)
