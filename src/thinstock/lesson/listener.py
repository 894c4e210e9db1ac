"""The second, tiny listener: guests' phones reach the running question through it, and nothing else.

It has five things to give (a page, its style and script, what is asked now) and two to take (a code, a guess). It knows
no machine, no workspace, no path; it is started on purpose on one address and ends with the lesson. What comes over the
wire is read by a library; slow, large and broken requests are dropped.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
import threading
from collections import Counter
from importlib.resources import files
from ipaddress import ip_address
from typing import Any

from thinstock.errors import Refused, needs, visible_in
from thinstock.lesson.room import Refusal, Room
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

BODY, HEAD = 1024, 8 * 1024
SECONDS, IDLE = 5.0, 20.0
"""For one whole request to come, and between two of one guest."""
CONNECTIONS, EACH = 450, 40
"""Open at once, in all and from one address."""
COOKIE = "thinstock-guest"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = (
    ("content-security-policy", POLICY), ("x-content-type-options", "nosniff"), ("referrer-policy", "no-referrer"),
    ("cache-control", "no-store"), ("x-frame-options", "DENY"),
)  # fmt: skip
STATIC = {"/": ("guest.html", "text/html"), "/guest.js": ("guest.js", "text/javascript"),
          "/guest.css": ("guest.css", "text/css")}  # fmt: skip
Reply = tuple[int, str, bytes, tuple[tuple[str, str], ...]]


def checked(address: str) -> str:
    """The address of one network card; all cards at once, or a name, is refused."""
    try:
        found = ip_address(address)
    except ValueError:
        raise Refused(fault_in("lesson.fault.address", "--class", address)) from None
    if found.is_unspecified or found.is_multicast:
        raise Refused(fault_in("lesson.fault.every_card", "--class", address))
    return str(found)


class Listener:
    """Guests of a room, on a thread of its own."""

    def __init__(self, room: Room, address: str, port: int = 0) -> None:
        self.h11 = needs("h11", "page")
        self.room, self.address = room, checked(address)
        self.socket = self._bound(port)
        self.port = int(self.socket.getsockname()[1])
        shown = f"[{self.address}]" if ":" in self.address else self.address
        self.host = f"{shown}:{self.port}"
        self.url = f"http://{self.host}/"
        self._open: Counter[str] = Counter()
        self._loop = asyncio.new_event_loop()
        self._stop: asyncio.Event | None = None
        self._thread = threading.Thread(target=self._run, name="guests", daemon=True)
        self._content = {path: files("thinstock.lesson").joinpath("guests", name).read_bytes()
                         for path, (name, _) in STATIC.items()}  # fmt: skip

    def _bound(self, port: int) -> socket.socket:
        family = socket.AF_INET6 if ":" in self.address else socket.AF_INET
        made = socket.socket(family, socket.SOCK_STREAM)
        try:
            made.bind((self.address, port))
        except OSError as error:
            made.close()
            why = (error.strerror or "").lower()
            raise Refused(fault_in("lesson.fault.bind", "--class", f"{self.address}:{port}", why=why)) from None
        made.listen(256)
        made.setblocking(False)
        return made

    def start(self) -> None:
        """Listen until closed."""
        self._thread.start()

    def close(self) -> None:
        """End it, with every connection that is open."""
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(lambda: self._stop.set() if self._stop is not None else None)
            self._thread.join(5.0)
        self.socket.close()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._serve())
        self._loop.close()

    async def _serve(self) -> None:
        self._stop = asyncio.Event()
        server = await asyncio.start_server(self._guest, sock=self.socket, limit=HEAD)
        await self._stop.wait()
        server.close()
        tasks = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    # -- one guest -----------------------------------------------------------------------------------------------------

    async def _guest(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        peer = writer.get_extra_info("peername")
        who = str(peer[0]) if peer else ""
        if sum(self._open.values()) >= CONNECTIONS or self._open[who] >= EACH:
            writer.close()
            return
        self._open[who] += 1
        try:
            await self._talk(reader, writer, who)
        except (OSError, TimeoutError, asyncio.CancelledError, self.h11.ProtocolError):
            pass
        finally:
            self._open[who] -= 1
            if self._open[who] <= 0:
                del self._open[who]
            with contextlib.suppress(OSError, RuntimeError):
                writer.close()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, who: str) -> None:
        wire = self.h11.Connection(self.h11.SERVER, max_incomplete_event_size=HEAD)
        first = True
        while True:
            async with asyncio.timeout(SECONDS if first else IDLE):
                event = await self._event(wire, reader)
            if not isinstance(event, self.h11.Request):
                return
            async with asyncio.timeout(SECONDS):
                body = await self._body(wire, reader)
                reply = (413, *_said("large")) if body is None else self._reply(event, body, who)
                await self._send(wire, writer, reply, over=body is None)
            if wire.our_state is not self.h11.DONE or wire.their_state is not self.h11.DONE:
                return
            wire.start_next_cycle()
            first = False

    async def _event(self, wire: Any, reader: asyncio.StreamReader) -> Any:
        while True:
            event = wire.next_event()
            if event is not self.h11.NEED_DATA:
                return event
            wire.receive_data(await reader.read(4096))

    async def _body(self, wire: Any, reader: asyncio.StreamReader) -> bytes | None:
        """The body; None where it is larger than a guess."""
        held = bytearray()
        while True:
            event = await self._event(wire, reader)
            if isinstance(event, self.h11.EndOfMessage):
                return bytes(held)
            if not isinstance(event, self.h11.Data):
                raise TimeoutError
            held += event.data
            if len(held) > BODY:
                return None

    async def _send(self, wire: Any, writer: asyncio.StreamWriter, reply: Reply, *, over: bool) -> None:
        status, kind, content, more = reply
        headers = [("content-type", f"{kind}; charset=utf-8"), ("content-length", str(len(content))), *HEADERS, *more]
        if over:
            headers.append(("connection", "close"))
        data = wire.send(self.h11.Response(status_code=status, headers=headers))
        data += wire.send(self.h11.Data(data=content)) if content else b""
        writer.write(data + wire.send(self.h11.EndOfMessage()))
        await writer.drain()

    # -- what is asked for ---------------------------------------------------------------------------------------------

    def _reply(self, request: Any, body: bytes, who: str) -> Reply:
        headers: dict[bytes, list[bytes]] = {}
        for name, value in request.headers:
            headers.setdefault(bytes(name), []).append(bytes(value))
        if [v.decode("latin-1").lower() for v in headers.get(b"host", [])] != [self.host.lower()]:
            return (403, *_said("host"))
        method, path = request.method.decode("latin-1"), request.target.decode("latin-1")
        token = self._token(headers.get(b"cookie", []))
        if method == "GET" and path in STATIC:
            return 200, STATIC[path][1], self._content[path], ()
        if method == "GET" and path == "/now":
            return self._now(token)
        if path not in ("/join", "/guess"):
            return (404, *_said("nothing"))
        if method != "POST":
            return (405, *_said("nothing"))
        if headers.get(b"origin", []) != [f"http://{self.host}".encode()]:
            return (403, *_said("origin"))
        if headers.get(b"content-type", [b""])[0].split(b";")[0].strip().lower() != b"application/json":
            return (415, *_said("nothing"))
        try:
            told = json.loads(body)
        except (ValueError, RecursionError):
            told = None
        if not isinstance(told, dict):
            return (400, *_said("nothing"))
        return self._join(told, who) if path == "/join" else self._guess(told, token)

    def _token(self, cookies: list[bytes]) -> str:
        for part in b"; ".join(cookies).decode("latin-1").split(";"):
            name, _, value = part.strip().partition("=")
            if name == COOKIE and len(value) <= 64:
                return value
        return ""

    def _now(self, token: str) -> Reply:
        if not self.room.knows(token):
            return _json({"joined": False}, 200)
        asked = self.room.question
        told: dict[str, Any] = {"joined": True, "groups": self.room.groups, "question": None}
        if asked is not None:
            question, is_open = asked
            told |= {"question": question.text, "unit": question.unit, "choices": list(question.choices),
                     "open": is_open, "mine": self.room.mine(token), "round": question.scene}  # fmt: skip
        return _json(told, 200)

    def _join(self, told: dict[str, Any], who: str) -> Reply:
        code = told.get("code")
        try:
            token = self.room.join(code if isinstance(code, str) else "", who)
        except Refusal as refusal:
            return (429 if str(refusal) == "wait" else 403, *_said(str(refusal)))
        cookie = f"{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict"
        return 200, "application/json", b'{"joined":true}', (("set-cookie", cookie),)

    def _guess(self, told: dict[str, Any], token: str) -> Reply:
        if not self.room.knows(token):
            return (403, *_said("join"))
        text, word = told.get("guess"), told.get("group")
        try:
            self.room.answer(token, text if isinstance(text, str) else "")
        except Refusal as refusal:
            return (409, *_said(str(refusal)))
        kept = self.room.group(token, word) if isinstance(word, str) and word.strip() else True
        return _json({"taken": True, "group": kept}, 200)


def _json(told: dict[str, Any], status: int) -> Reply:
    return status, "application/json", json.dumps(visible_in(told), ensure_ascii=True).encode("ascii"), ()


def _said(word: str) -> tuple[str, bytes, tuple[tuple[str, str], ...]]:
    told = json.dumps({"refused": phrase(f"lesson.room.{word}")}, ensure_ascii=True)
    return "application/json", told.encode("ascii"), ()
