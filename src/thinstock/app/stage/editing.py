"""A lesson of one's own: a state of another page becomes a scene, scenes are put in order and their words changed.

Every change is read as a lesson before it is written; what is wrong is told and nothing is written.
"""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.reply import body_of, json_reply, page_reply, text_in
from thinstock.app.stage.opened import lessons_in, opened
from thinstock.app.state import State, open_state, parse
from thinstock.lesson import write
from thinstock.lesson.library import ENDING, bundled, found, lesson_text
from thinstock.lesson.played import check
from thinstock.lesson.read import read
from thinstock.work.workspace import Changed, Content, Workspace

SHOWN: dict[str, tuple[str, tuple[str, ...]]] = {
    "machine": ("machine", ("water_per_fibre", "speed", "dryness_press")),
    "sheet": ("sheet", ("crowding", "cloudiness", "holes")),
    "formers": ("former", ("consistency", "forming_time", "forming_ends")),
    "options": ("side by side", ("speed", "forming_time", "dryness_press")),
}
"""What a page's state is shown as, and its numbers."""
WORD, TITLE = 4000, 120


def adding(request: Request) -> Response:
    """Where the present state of a page shall go."""
    page = request.path_params["page"]
    if page not in SHOWN:
        raise HTTPException(404)
    workspace: Workspace = request.app.state.workspace
    state = parse(request.url.query)
    title = open_state(state, workspace).machine.title
    return page_reply(
        request, "lesson_add.html", here="lessons", page=page, state=request.url.query, title=title,
        files=lessons_in(workspace).files(), query="",
    )  # fmt: skip


def _source(state: State) -> dict[str, Any]:
    """The machine of a state as a lesson names it."""
    given: dict[str, Any] = {"machine": state.file or state.machine or "facial-roll"}
    given |= {name: value for name, value in (("former", state.former), ("press", state.press)) if value}
    return {**given, "set": dict(state.changes)} if state.changes else given


async def add(request: Request) -> Response:
    """Put the state of a page into a lesson as its last scene."""
    return await run_in_threadpool(_add, request.app.state.workspace, await body_of(request))


def _add(workspace: Workspace, body: dict[str, Any]) -> Response:
    page = text_in(body, "page")
    if page not in SHOWN:
        raise HTTPException(400)
    state = parse(text_in(body, "state"))
    title = text_in(body, "title").strip()[:TITLE] or open_state(state, workspace).machine.title
    show, numbers = SHOWN[page]
    scene: dict[str, Any] = {
        "name": title[:40],
        "title": title,
        **_source(state),
        "show": show,
        "numbers": list(numbers),
    }
    others = state.own_all("other")
    if page == "options" and others:
        scene["beside"] = _source(parse(others[0]))
    elif page == "options":
        scene["show"] = "machine"
    lessons = lessons_in(workspace)
    name = text_in(body, "file", "")
    if name:
        old = lessons.read(name)
        return _written(workspace, old.name, write.with_scene(old.text, scene), old.digest)
    new_title = text_in(body, "lesson", "").strip()[:TITLE] or title
    text = write.without(write.with_scene(write.new(new_title, scene["machine"]), scene), 0)
    return _written(workspace, lessons.free_name(new_title + ENDING), text, "")


async def copied(request: Request) -> Response:
    """A bundled lesson as a file of one's own."""
    body = await body_of(request)
    workspace: Workspace = request.app.state.workspace
    name = found(text_in(body, "lesson"))
    free = lessons_in(workspace).free_name(bundled(name).title + ENDING)
    return await run_in_threadpool(_written, workspace, free, lesson_text(name), "")


def edit(request: Request) -> Response:
    """The plain editor."""
    workspace: Workspace = request.app.state.workspace
    here = opened(request.url.query, workspace)
    if here.content is None:
        raise HTTPException(404)
    faults = check(here.lesson, here.files, drawings=False)
    return page_reply(
        request, "lesson_edit.html", here="lessons", lesson=here.lesson, file=here.file, known=here.content.digest,
        faults=faults, query="",
    )  # fmt: skip


async def change(request: Request) -> Response:
    """One change of a lesson's file."""
    return await run_in_threadpool(_change, request.app.state.workspace, await body_of(request))


def _change(workspace: Workspace, body: dict[str, Any]) -> Response:
    name, known, what = text_in(body, "file"), text_in(body, "known"), text_in(body, "what")
    old: Content = lessons_in(workspace).read(name)
    index, to = body.get("index", 0), body.get("to", 0)
    count = len(read(old.text, name).scenes)
    if not all(isinstance(v, int) and not isinstance(v, bool) and 0 <= v < count for v in (index, to)):
        raise HTTPException(400)
    if what == "move":
        text = write.moved(old.text, index, to)
    elif what == "remove":
        text = write.without(old.text, index)
    elif what == "title":
        text = write.headed(old.text, text_in(body, "title")[:TITLE])
    elif what == "words":
        words = {one: text_in(body, one, "")[:WORD] for one in write.WORDS if one in body}
        text = write.worded(old.text, index, words)
    else:
        raise HTTPException(400)
    return _written(workspace, name, text, known)


def _written(workspace: Workspace, name: str, text: str, known: str) -> Response:
    """Write a lesson that can be read; what cannot is refused with all its faults."""
    read(text, name)
    try:
        made = lessons_in(workspace).write(name, text, known=known)
    except Changed as changed:
        return json_reply({"refused": str(changed.faults[0])}, status=409)
    return json_reply({"file": made.name, "known": made.digest})


ROUTES = (
    Route("/lessons/add/{page}", adding),
    Route("/lessons/add", add, methods=["POST"]),
    Route("/lessons/copy", copied, methods=["POST"]),
    Route("/lessons/edit", edit),
    Route("/lessons/change", change, methods=["POST"]),
)
