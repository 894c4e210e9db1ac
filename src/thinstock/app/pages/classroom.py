"""The class page: what to hand out, problems to set, a walk through the machine in large type, workings of numbers.

Works by links alone: what is chosen stands in the address, so that a trainer can keep it. Chapters, problems and
workings are those of paper; nothing is worked out here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Self
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.pages import Page
from thinstock.app.reply import attachment, page_reply
from thinstock.app.state import Opened, open_state, parse
from thinstock.app.taken import KINDS
from thinstock.app.words import say
from thinstock.tell import class_page
from thinstock.tell.blocks import Chapter, Picture
from thinstock.tell.exercises import exercises, order
from thinstock.tell.explained import explain
from thinstock.tell.handout import chosen as order_of_chapters
from thinstock.tell.handout import handout
from thinstock.tell.problems import Order
from thinstock.tell.teller import Teller
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.work.workspace import Workspace

FIRST = ("machine", "water", "price")
"""Chapters shown when none are chosen."""
LEVELS = (("1", "1"), ("2", "2"), ("3", "3"), ("1-3", "all"))
COUNTS = (4, 8, 12)


class Taken(str):
    """Where a picture is to be had, and what it can be taken along as: (kind, address)."""

    files: tuple[tuple[str, str], ...]
    said: str

    def __new__(cls, place: str, files: tuple[tuple[str, str], ...]) -> Self:
        """The address with its files."""
        made = super().__new__(cls, place)
        made.files, made.said = files, say("machine.picture")
        return made


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """What an address of this page asks."""

    opened: Opened
    teller: Teller
    keys: tuple[str, ...]
    levels: str
    count: int
    seed: int
    with_key: bool
    paper: str

    def order(self) -> Order:
        """The problems asked for; what cannot be is refused."""
        return order(self.levels, self.count, self.seed)

    def link(self, place: str, **other: str) -> str:
        """The address of a place with these choices, some of them changed."""
        mine = {
            "with": ",".join(self.keys), "level": self.levels, "count": str(self.count), "seed": str(self.seed),
            "key": "yes" if self.with_key else "", "paper": self.paper if self.paper != "a4" else "",
        }  # fmt: skip
        rows = tuple((name, value) for name, value in {**mine, **other}.items() if value)
        return f"{place}?{replace(self.opened.state, more=rows).query()}"

    def toggled(self, key: str) -> str:
        """The address with a chapter taken in or left out."""
        known = [c.key for c in class_page.chapters()]
        keys = set(self.keys) ^ {key}
        return self.link("/class", **{"with": ",".join(k for k in known if k in keys) or "none"})

    def picture(self, part: str, name: str, picture: Picture) -> str:
        """Where a picture of a chapter or a step is to be had; a drawing is marked, so that dark paper may turn it."""
        place, query = (
            self.link(f"/class/picture/{quote(part)}/{quote(name)}"),
            self.opened.state.without_more().query(),
        )
        if not picture.media.startswith("image/svg"):
            return Taken(place, ((picture.suffix.upper(), place),))
        stem = "drawing" if name == "elevation.svg" else name.removesuffix(".svg")
        files = tuple((kind.upper(), f"/download/chart/{quote(stem)}.{kind}?{query}") for kind in KINDS)
        return Taken(f"{place}#plate", files)


class _Tellers:
    """The last machines told of, by their text and address: a cache and nothing else."""

    def __init__(self, most: int = 8) -> None:
        self.most, self.known = most, dict[tuple[str, str], Teller]()

    def of(self, opened: Opened) -> Teller:
        """The teller of a machine."""
        key = (opened.content.text, opened.state.without_more().query())
        found = self.known.get(key)
        if found is None:
            found = Teller(opened.machine, opened.state.unit_set)
            for old in list(self.known)[: max(len(self.known) - self.most + 1, 0)]:
                self.known.pop(old, None)
            self.known[key] = found
        return found


_TELLERS = _Tellers()


@lru_cache(maxsize=24)
def _chapter(teller: Teller, key: str) -> Chapter:
    return class_page.chapter(teller, key)


def _whole(text: str, field: str, default: int) -> int:
    from thinstock.errors import Refused

    if not text:
        return default
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise Refused(fault_in("app.classroom.must_be_whole_number", field, text))
    return int(text)


def chosen(request: Request) -> Chosen:
    """What the address asks."""
    workspace: Workspace = request.app.state.workspace
    state = parse(request.url.query)
    opened = open_state(state, workspace)
    asked = state.own("with")
    keys = FIRST if not asked else () if asked == "none" else tuple(k for k in asked.split(",") if k)
    return Chosen(
        opened=opened,
        teller=_TELLERS.of(opened),
        keys=keys,
        levels=state.own("level", "1-3"),
        count=_whole(state.own("count"), "count", 4),
        seed=_whole(state.own("seed"), "seed", 1),
        with_key=state.own("key") == "yes",
        paper=state.own("paper", "a4"),
    )


def _reply(request: Request, template: str, asked: Chosen, **values: Any) -> Response:
    opened = asked.opened
    return page_reply(
        request, template, here="class", opened=opened, state=opened.state, query=opened.state.without_more().query(),
        asked=asked, **values,
    )  # fmt: skip


def _show(request: Request) -> Response:
    asked = chosen(request)
    keys = order_of_chapters(asked.keys) if asked.keys else ()
    pieces = [class_page.piece_of(_chapter(asked.teller, key), asked.picture) for key in keys]
    problems = class_page.exercises(asked.teller, asked.order(), key=asked.with_key)
    return _reply(
        request, "class.html", asked, chapters=class_page.chapters(), pieces=pieces, problems=problems, levels=LEVELS,
        counts=COUNTS,
    )  # fmt: skip


def _walk(request: Request) -> Response:
    asked = chosen(request)
    titles = class_page.step_titles(asked.teller)
    key = asked.opened.state.own("step") or titles[0][0]
    step = class_page.step(asked.teller, key, asked.picture)
    around = {
        "before": titles[step.number - 2] if step.number > 1 else None,
        "after": titles[step.number] if step.number < len(titles) else None,
    }
    return _reply(request, "class_walk.html", asked, step=step, titles=titles, **around)


def _working(request: Request) -> Response:
    asked = chosen(request)
    name = str(request.path_params.get("number") or asked.opened.state.own("number"))
    made = class_page.working(asked.teller, name) if name else None
    return _reply(
        request, "class_working.html", asked, name=name, working=made, numbers=class_page.numbers(asked.teller)
    )


def _picture(request: Request) -> Response:
    asked = chosen(request)
    part, name = request.path_params["part"], request.path_params["name"]
    known = {c.key for c in class_page.chapters()}
    steps = {key for key, _, _ in class_page.step_titles(asked.teller)}
    if part in known:
        found = _chapter(asked.teller, part).pictures
    elif part in steps:
        found = class_page.picture_of(asked.teller, part)
    else:
        raise HTTPException(404)
    if name not in found:
        raise HTTPException(404)
    headers = {"cache-control": phrase("app.classroom.private_max_age")}
    return Response(found[name].content, media_type=found[name].media, headers=headers)


def _paper(request: Request) -> Response:
    asked, what = chosen(request), request.path_params["what"]
    machine, unit_set = asked.opened.machine, asked.opened.state.unit_set
    title = asked.opened.machine.title or "machine"
    if what == "handout":
        made = handout(machine, "pdf", asked.keys or None, unit_set, paper=asked.paper)
    elif what in ("exercises", "key"):
        made = exercises(machine, "pdf", asked.order(), unit_set, key=what == "key", paper=asked.paper)
    elif what == "working":
        number = asked.opened.state.own("number")
        made = explain(asked.teller.result, number, "pdf", unit_set, paper=asked.paper)
    else:
        raise HTTPException(404)
    assert isinstance(made, bytes)
    return attachment(made, "application/pdf", f"{what} - {title}.pdf")


def _threaded(answer: Any) -> Any:
    """A route whose work must not hold up the others."""

    async def route(request: Request) -> Response:
        made: Response = await run_in_threadpool(answer, request)
        return made

    return route


PAGE = Page(
    name="class",
    title="Class",
    place=70,
    routes=(
        Route("/class", _threaded(_show)),
        Route("/class/walk", _threaded(_walk)),
        Route("/class/working", _threaded(_working)),
        Route("/class/working/{number}", _threaded(_working)),
        Route("/class/picture/{part}/{name}", _threaded(_picture)),
        Route("/class/{what}.pdf", _threaded(_paper)),
    ),
)
