"""Who may talk to the page's server: only the browser opened with this start's address, and only from the page.

Every request passes here before anything else sees it: Host, token, method, Origin, kind and size of the body. Every
answer leaves with the same strict headers. Knows nothing of machines.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

from thinstock.words.phrase import phrase

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
"""The page uses its own scripts, styles, pictures and answers: nothing inline, evaluated or from outside."""

HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), payment=(), usb=()"),
)

SMALL = 256 * 1024
"""Largest body of an ordinary request, bytes."""
LARGE = 4 * 1024 * 1024
"""Largest body that carries a file, bytes."""
LONGEST_ADDRESS = 16 * 1024
"""Longest path and query, bytes."""


def new_token() -> str:
    """A token no one can guess, for one start of the server."""
    return secrets.token_urlsafe(32)


class Guard:
    """The outermost layer of the application."""

    def __init__(self, app: App, *, token: str, port: int, large: Iterable[str] = ()) -> None:
        self.app, self.token = app, token
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}", f"[::1]:{port}"}
        self.cookie = f"thinstock-{port}"
        self.large = frozenset(large)
        self._once: set[str] = set()

    def once(self) -> str:
        """A token that opens the page one time: for a browser's command line, which others on a computer can read."""
        made = new_token()
        self._once.add(made)
        return made

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        send = self._with_headers(scope, send)
        headers = _headers(scope)
        host = _only(headers, b"host")
        if host is None or host.lower() not in self.hosts:
            await _refuse(send, 403, phrase("app.guard.this_server_answers_only_to"))
            return
        path, query = str(scope["path"]), bytes(scope.get("query_string", b""))
        if len(path) + len(query) > LONGEST_ADDRESS:
            await _refuse(send, 414, phrase("app.guard.address_too_long"))
            return
        if path.startswith("/open/"):
            await self._open(scope, send, path, query, headers)
            return
        if not self._known(headers):
            await _refuse(send, 403, CLOSED, page=scope["method"] == "GET")
            return
        if scope["method"] in ("GET", "HEAD"):
            await self.app(scope, receive, send)
            return
        if scope["method"] not in ("POST", "PUT"):
            await _refuse(send, 405, phrase("app.guard.this_method_not_used_here"))
            return
        wrong = self._not_from_the_page(headers, host)
        if wrong:
            await _refuse(send, 403, wrong)
            return
        kind = (_only(headers, b"content-type") or "").split(";")[0].strip().lower()
        if kind != "application/json":
            await _refuse(send, 415, phrase("app.guard.changes_sent_as_json"))
            return
        await self._limited(scope, receive, send, headers, LARGE if path in self.large else SMALL)

    async def _open(
        self, scope: Scope, send: Send, path: str, query: bytes, headers: list[tuple[bytes, bytes]]
    ) -> None:
        """The address that was opened: the cookie is given for its token, and the page is shown without it."""
        token, _, rest = path.removeprefix("/open/").partition("/")
        if scope["method"] != "GET" or not (self._opens(token) or self._known(headers)):
            await _refuse(send, 403, CLOSED, page=scope["method"] == "GET")
            return
        from urllib.parse import quote

        place = "/" + quote(rest.lstrip("/\\"), safe="/")
        place += f"?{query.decode('ascii', 'ignore')}" if query else ""
        place = place.replace("\r", "").replace("\n", "")
        cookie = f"{self.cookie}={self.token}; Path=/; HttpOnly; SameSite=Strict"
        await send(
            {
                "type": "http.response.start",
                "status": 303,
                "headers": [
                    (b"location", place.encode("ascii")),
                    (b"set-cookie", cookie.encode("ascii")),
                    (b"content-length", b"0"),
                ],
            }
        )
        await send({"type": "http.response.body", "body": b""})

    def _opens(self, token: str) -> bool:
        """Whether this is the token of this start, or one that is good once and was not used."""
        good = hmac.compare_digest(token.encode(), self.token.encode())
        for once in [one for one in self._once if hmac.compare_digest(token.encode(), one.encode())]:
            self._once.discard(once)
            good = True
        return good

    def _known(self, headers: list[tuple[bytes, bytes]]) -> bool:
        found = [value for name, value in headers if name == b"cookie"]
        for part in b"; ".join(found).decode("latin-1").split(";"):
            name, _, value = part.strip().partition("=")
            if name == self.cookie and hmac.compare_digest(value.encode("latin-1"), self.token.encode()):
                return True
        return False

    def _not_from_the_page(self, headers: list[tuple[bytes, bytes]], host: str) -> str:
        origin = _only(headers, b"origin")
        if origin is None or origin.lower() != f"http://{host.lower()}":
            return phrase("app.guard.changes_come_from_page_itself")
        site = _only(headers, b"sec-fetch-site")
        if site is not None and site != "same-origin":
            return phrase("app.guard.changes_come_from_page_itself")
        return ""

    async def _limited(
        self, scope: Scope, receive: Receive, send: Send, headers: list[tuple[bytes, bytes]], most: int
    ) -> None:
        """Read the body up to its limit before anything looks at it."""
        told = _only(headers, b"content-length")
        if told is not None and (not told.isdigit() or int(told) > most):
            await _refuse(send, 413, phrase("app.guard.more_than_kb_not_taken", most=most // 1024))
            return
        body = bytearray()
        while True:
            message = await receive()
            if message["type"] != "http.request":
                return
            body += message.get("body", b"")
            if len(body) > most:
                await _refuse(send, 413, phrase("app.guard.more_than_kb_not_taken", most=most // 1024))
                return
            if not message.get("more_body", False):
                break
        whole = [bytes(body)]

        async def replay() -> Message:
            if whole:
                return {"type": "http.request", "body": whole.pop(), "more_body": False}
            return await receive()

        await self.app(scope, replay, send)

    @staticmethod
    def _with_headers(scope: Scope, send: Send) -> Send:
        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = list(message.get("headers", []))
                held = {name.lower() for name, _ in given}
                given += [(name, value) for name, value in HEADERS if name not in held]
                if b"cache-control" not in held:
                    given.append((b"cache-control", b"no-store"))
                message = {**message, "headers": given}
            await send(message)

        return sending


CLOSED = phrase("app.guard.this_page_closed_to_everyone")


def _headers(scope: Scope) -> list[tuple[bytes, bytes]]:
    return [(bytes(name).lower(), bytes(value)) for name, value in scope["headers"]]


def _only(headers: list[tuple[bytes, bytes]], name: bytes) -> str | None:
    """The value of a header that stands once; one that stands twice counts as none."""
    found = [value for key, value in headers if key == name]
    return found[0].decode("latin-1") if len(found) == 1 else None


STYLE = (
    "html{font:17px/1.5 Georgia,serif;background:#fbfaf5;color:#1b1a17;color-scheme:light dark}"
    "main{max-width:36rem;margin:12vh auto;padding:0 1.5rem}h1{font-style:italic;font-weight:400;font-size:1.2rem;"
    "border-bottom:1.5px solid;padding-bottom:.5rem}"
    "@media(prefers-color-scheme:dark){html{background:#121518;color:#f2eee4}}"
)
"""Of the page for a stranger, who is given no file of ours."""
STYLE_POLICY = b"style-src 'sha256-" + base64.b64encode(hashlib.sha256(STYLE.encode()).digest()) + b"'"


async def _refuse(send: Send, status: int, text: str, *, page: bool = False) -> None:
    headers = []
    if page:
        kind = b"text/html; charset=utf-8"
        head = '<meta name="viewport" content="width=device-width"><title>thinstock</title>'
        body = (
            f'<!doctype html><html lang="en"><head>{head}<style>{STYLE}</style></head>'
            f"<body><main><h1>thinstock</h1><p>{text}</p></main></body></html>"
        ).encode()
        headers.append((b"content-security-policy", POLICY.encode().replace(b"style-src 'self'", STYLE_POLICY)))
    else:
        kind = b"application/json"
        body = json.dumps({"refused": text}).encode()
    headers += [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
