"""What the tests of the page share: a client that was let in, and a server in a process of its own."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import tempfile
import threading
import warnings
from pathlib import Path
from typing import Any

from thinstock.app.server import build
from thinstock.app.state import Opened, open_state, parse
from thinstock.work.workspace import Workspace

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

PORT = 8765
ORIGIN = f"http://127.0.0.1:{PORT}"
TOKEN = "a-token-for-tests"


class Client:
    """A browser tab without a browser: sends what the page sends."""

    def __init__(self, folder: Path, *, let_in: bool = True) -> None:
        self.reported: list[str] = []
        self.workspace = Workspace(folder)
        self.app: Any = build(self.workspace, token=TOKEN, port=PORT, report=self.reported.append)
        self.http = TestClient(self.app, base_url=ORIGIN, raise_server_exceptions=False)  # type: ignore[arg-type]
        self.state = self.app.app.app.state
        if let_in:
            self.http.cookies.set(f"thinstock-{PORT}", TOKEN)

    def close(self) -> None:
        self.state.jobs.close()

    def get(self, path: str, **more: Any) -> Any:
        return self.http.get(path, headers={"accept": "text/html", **more.pop("headers", {})}, **more)

    def post(self, path: str, body: Any, **headers: str) -> Any:
        return self.http.post(path, json=body, headers={"origin": ORIGIN, **headers})

    def answer(self, query: str, part: str = "full", **more: Any) -> Any:
        return self.post("/machine/answer", {"query": query, "part": part, **more})


def opened_machine(name: str) -> Opened:
    """A bundled machine as a page opens it."""
    return open_state(parse(f"machine={name}"), Workspace(Path(tempfile.gettempdir())))


def plain(html: str) -> str:
    """The words of a piece of a page."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def free_port() -> int:
    with socket.socket() as made:
        made.bind(("127.0.0.1", 0))
        return int(made.getsockname()[1])


class Server:
    """`thinstock open` in a process of its own."""

    def __init__(self, folder: Path, port: int, machine: str = "facial-roll") -> None:
        env = {**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONIOENCODING": "utf-8"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "thinstock", "open", machine, "--no-browser", "--port", str(port), "--workspace",
             str(folder)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8", env=env,
        )  # fmt: skip
        self.errors: list[str] = []
        threading.Thread(target=self._drain, daemon=True).start()
        self.address = self._address()

    def _drain(self) -> None:
        assert self.process.stderr is not None
        self.errors.extend(iter(self.process.stderr.readline, ""))

    def _address(self) -> str:
        assert self.process.stdout is not None
        for line in iter(self.process.stdout.readline, ""):
            if "http://" in line:
                return line.strip()
        raise AssertionError(f"the server did not start: {''.join(self.errors)}")

    def warm(self) -> None:
        """Wait for the first page: on a new computer the calculation is compiled then, once."""
        import httpx

        with httpx.Client(follow_redirects=True, timeout=240.0) as client:
            assert client.get(self.address).status_code == 200

    def stop(self) -> None:
        self.process.kill()
        self.process.wait(10)
