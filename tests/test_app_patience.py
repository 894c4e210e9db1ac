"""The page's server does not keep the connection of a request that never becomes whole."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
import uvicorn

from thinstock.app import patience
from thinstock.app.guard import Guard
from thinstock.app.server import bound_socket, configured

COOKIE = b"Cookie: thinstock-%d=known\r\n"
HALF = {
    "nothing": b"",
    "half a line": b"GET /mach",
    "half a head": b"GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nX-a: b\r\n",
    "half a body": b"POST /a HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nOrigin: http://127.0.0.1:%d\r\n" + COOKIE
    + b"Content-Type: application/json\r\nContent-Length: 50\r\n\r\n{",
}  # fmt: skip


async def _answers(scope, receive, send) -> None:
    """An application that takes longer than a request may take to come."""
    import asyncio

    if scope["type"] == "lifespan":
        for said in ("startup", "shutdown"):
            await receive()
            await send({"type": f"lifespan.{said}.complete"})
        return
    await receive()
    await asyncio.sleep(0.9)
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})
    await send({"type": "http.response.body", "body": b"ok"})


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A server as the page has it, with a shorter time."""
    monkeypatch.setattr(patience, "SECONDS", 0.5)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        wanted = int(free.getsockname()[1])
    listening = bound_socket(wanted)
    server = uvicorn.Server(configured(Guard(_answers, token="known", port=wanted)))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    yield wanted
    server.should_exit = True
    thread.join(10)
    listening.close()


def _sent(port: int, text: bytes) -> socket.socket:
    made = socket.create_connection(("127.0.0.1", port), timeout=8)
    made.sendall(text.replace(b"%d", str(port).encode()))
    return made


def _answer(one: socket.socket) -> bytes:
    """A whole answer: head and body may come one after the other."""
    said = b""
    while not said.endswith(b"ok") and (more := one.recv(1000)):
        said += more
    return said


def _ended(one: socket.socket) -> bool:
    try:
        return one.recv(100) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False


@pytest.mark.slow
def test_half_requests_are_given_up_and_a_whole_one_has_the_time_it_needs(port: int) -> None:
    with ExitStack() as stack:
        begun = time.monotonic()
        half = [(what, stack.enter_context(_sent(port, text))) for what, text in HALF.items() for _ in range(10)]
        whole = stack.enter_context(_sent(port, b"GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n" + COOKIE + b"\r\n"))
        assert _answer(whole).startswith(b"HTTP/1.1 200")
        open_still = {what for what, one in half if not _ended(one)}
        assert not open_still, f"still open after {time.monotonic() - begun:.1f} s: {sorted(open_still)}"
        whole.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: thinstock-{port}=known\r\n\r\n".encode())
        assert _answer(whole).startswith(b"HTTP/1.1 200"), "the connection serves on"


@pytest.mark.slow
def test_a_request_that_comes_drop_by_drop_is_given_up_too(port: int) -> None:
    with _sent(port, b"") as slow:
        ended = False
        for letter in b"GET /a-long-address-that-takes-its-time HTTP/1.1":
            try:
                slow.sendall(bytes([letter]))
            except ConnectionError:
                ended = True
                break
            time.sleep(0.05)
        assert ended or _ended(slow)
        assert ended, "only the end of the drops ended it"
