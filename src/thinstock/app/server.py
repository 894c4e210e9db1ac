"""The local server: routes of all pages behind the guard, on this computer only, and how it is started.

Keeps nothing between requests but caches and running jobs; the state of a page is its address.
"""

from __future__ import annotations

import contextlib
import gc
import socket
import sys
import threading
import time
import traceback
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

from thinstock.app import files, jobs_routes, pages, pictures
from thinstock.app.bundle import charts_script
from thinstock.app.guard import Guard, new_token
from thinstock.app.pages import machine
from thinstock.app.reply import failed, json_reply, page_reply, refused_reply
from thinstock.case.read import load
from thinstock.errors import Refused
from thinstock.kernels.compiled import can_compile, compile_behind
from thinstock.lesson.listener import Listener
from thinstock.studies.bands import uncertainty
from thinstock.words.phrase import phrase
from thinstock.work.jobs import Jobs
from thinstock.work.workers import Workers
from thinstock.work.workspace import Workspace

if TYPE_CHECKING:
    import uvicorn

PORT = 8459
"""The port tried first, so that a page that is still open finds the program again."""
STATIC = Path(__file__).parent / "static"
KINDS = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml"}


def build(
    workspace: Workspace, *, token: str, port: int, report: Callable[[str], None] | None = None,
    guests: Listener | None = None, workers: Workers | None = None,
) -> Guard:  # fmt: skip
    """The whole application behind its guard; without `workers` it answers everything by itself."""

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        app.state.jobs.warm("thinstock.app.work:warmed")
        yield
        app.state.jobs.close()
        if workers is not None:
            workers.close()

    def home(request: Request) -> Response:
        return RedirectResponse("/machine" + (f"?{request.url.query}" if request.url.query else ""), 303)

    routes = [
        Route("/", home),
        Route("/alive", lambda request: Response(status_code=204)),
        Route("/static/{name}", _static),
        Route("/charts/{version}.js", _charts),
    ]
    for page in pages.all_pages():
        routes += page.routes
    routes += [*files.ROUTES, *jobs_routes.ROUTES, *pictures.ROUTES]
    app = Starlette(
        routes=routes,
        middleware=[Middleware(GZipMiddleware, minimum_size=1500, compresslevel=3)],
        lifespan=life,
        exception_handlers={Refused: _refused, HTTPException: _http, Exception: _fault},
    )
    app.state.workspace = workspace
    app.state.jobs = Jobs()
    app.state.guests = guests
    app.state.workers = workers
    app.state.report = report if report is not None else _to_terminal
    return Guard(_Lasting(app), token=token, port=port, large=files.LARGE)


def _alive(request: Request) -> Response:
    """The page asks now and then, so that it notices when the program was stopped."""
    return Response(status_code=204)


def _static(request: Request) -> Response:
    """A script or style of ours, by its plain name."""
    name = request.path_params["name"]
    place = STATIC / name
    if place.name != name or place.suffix not in KINDS or not place.is_file():
        raise HTTPException(404)
    return FileResponse(place, media_type=KINDS[place.suffix], headers={"cache-control": "no-cache"})


def _charts(request: Request) -> Response:
    headers = {"cache-control": phrase("app.server.private_max_age_immutable")}
    return Response(charts_script(), media_type="text/javascript; charset=utf-8", headers=headers)


# -- what goes wrong -----------------------------------------------------------------------------------------------


def _wants_page(request: Request) -> bool:
    return request.method == "GET" and "text/html" in request.headers.get("accept", "")


def _refused(request: Request, refused: Exception) -> Response:
    assert isinstance(refused, Refused)
    if _wants_page(request):
        return page_reply(request, "refused.html", status=422, faults=refused.faults)
    return refused_reply(refused)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    text = {404: phrase("app.server.there_no_such_page"), 405: phrase("app.server.this_not_done_here")}.get(
        error.status_code, "Not possible."
    )
    if _wants_page(request):
        return page_reply(request, "lost.html", status=error.status_code, text=text)
    return json_reply({"refused": text}, status=error.status_code)


def _fault(request: Request, error: Exception) -> Response:
    """A fault of the program: the trace goes to the terminal, not to the page."""
    request.app.state.report("".join(traceback.format_exception(error)))
    if _wants_page(request):
        return page_reply(request, "fault.html", status=500)
    return failed()


class _Lasting:
    """An answer is all the page needs of a fault; the server goes on."""

    def __init__(self, app: Starlette) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        with contextlib.suppress(Exception):
            await self.app(scope, receive, send)


def _to_terminal(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


# -- starting ------------------------------------------------------------------------------------------------------


def bound_socket(port: int | None) -> socket.socket:
    """A socket on this computer's own address: the port asked for, else the usual one, else any that is free."""
    wanted = [port] if port else [PORT, 0]
    last: OSError | None = None
    for number in wanted:
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind(("127.0.0.1", number))
        except OSError as error:
            made.close()
            last = error
            continue
        made.listen(128)
        return made
    assert last is not None
    raise last


def configured(app: Guard) -> uvicorn.Config:
    """How the server listens: quietly, with bounds on the head of a request and on the time it takes to come."""
    import uvicorn

    from thinstock.app.patience import Patient

    return uvicorn.Config(
        app, log_level="critical", access_log=False, server_header=False, date_header=False, lifespan="on",
        timeout_graceful_shutdown=2, h11_max_incomplete_event_size=64 * 1024, ws="none", proxy_headers=False,
        http=Patient,
    )  # fmt: skip


BEHIND = 1.5
"""Seconds behind the first page before processes for answers start: the browser is busy with the page until then."""
LONGEST_COMPILED = 120.0
"""So long at most they wait for machine code that is being made, s."""


def answering(workspace: Workspace, count: int | None = None, after: Callable[[], Any] | None = None) -> Workers:
    """Processes that answer what the machine page asks of a workspace; none where there is but one core."""
    first = [(str(workspace.folder), body, None) for body in machine.FIRST_APART]
    return Workers(machine.APART, first, count, after=after)


def _compile(over: threading.Event) -> None:
    """Have machine code ready behind the first answers; `over` is set when it is."""

    def work() -> None:
        try:
            uncertainty(load("facial-roll"))
        finally:
            over.set()

    if not can_compile():
        over.set()
    compile_behind(work)


def _behind(compiled: threading.Event) -> None:
    """Wait until the computer has time for more processes."""
    compiled.wait(LONGEST_COMPILED)
    time.sleep(BEHIND)


def serve(
    workspace: Workspace,
    *,
    port: int | None = None,
    place: str = "machine",
    ready: Callable[[str, str], None],
    guests: Listener | None = None,
) -> None:
    """Serve until stopped; once the server listens, `ready` is given the address to print, which is good as long as
    the server runs, and the one to start a browser with, which is good once."""
    import uvicorn

    listening = bound_socket(port)
    number = int(listening.getsockname()[1])
    token = new_token()
    compiled = threading.Event()
    workers = answering(workspace, after=lambda: _behind(compiled))
    app = build(workspace, token=token, port=number, guests=guests, workers=workers)
    server = uvicorn.Server(configured(app))
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)  # what lasts is set aside, so that no answer waits for a long collection
    _compile(compiled)
    ready(*(f"http://127.0.0.1:{number}/open/{opens}/{place}" for opens in (token, app.once())))
    try:
        server.run(sockets=[listening])
    finally:
        listening.close()
