"""Ten people who move a slider at once: how long each waits, and what an answer costs the server.

Every user sends what the page sends: one question at a time, ten moves a second, the newest value where the one before
took longer than a tenth of a second. All users are one thread that does little but wait. Beside the times on the clock,
which other programs disturb, stand the processor time of the server with all its processes for an answer, as a multiple
of one run of the same machine, that of the users, and the bytes.
Run: python benchmarks/load.py [users] [seconds]
"""

from __future__ import annotations

import asyncio
import gzip
import http.client
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

from thinstock.case.read import load

MACHINE = "facial-roll"
PACE = 0.1
SIGHT = ["drawing", "notes", "chart-water_staircase"]
"""What is in sight while the slider of the form is held, on a screen of 1440 x 900."""
MOVED = {
    "headbox.consistency": lambda i: f"{0.15 + 0.001 * (i % 80):.3f}",
    "yankee.speed": lambda i: f"{1500 + 5 * (i % 80)}",
}


class User:
    """One tab that moves a slider: a question at a time, the newest place of the slider where it has moved on."""

    def __init__(self, port: int, cookie: str, number: int, where: str) -> None:
        self.number, self.where = number, where
        self.head = (
            f"POST /machine/answer HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\norigin: http://127.0.0.1:{port}\r\n"
            f"cookie: {cookie}\r\ncontent-type: application/json\r\naccept-encoding: gzip\r\ncontent-length: "
        )
        self.port = port
        self.shown: dict[str, str] = {}
        self.structure = ""
        self.tab = uuid4().hex
        self.turn = 0
        self.clear()

    def clear(self) -> None:
        """Forget what was measured."""
        self.waited: list[float] = []
        """From the question to its answer, s."""
        self.felt: list[float] = []
        """From the move to the answer to it, s."""
        self.sizes: list[int] = []
        self.packed: list[int] = []
        self.passed = 0
        """Moves that a later one took the place of before they were asked for."""

    async def move(self, moves: int) -> None:
        """Move so often, a tenth of a second apart."""
        reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
        begun = time.perf_counter() + 0.013 * self.number
        i = 0
        while i < moves:
            now = time.perf_counter()
            if now < begun + i * PACE:
                await asyncio.sleep(begun + i * PACE - now)
            newest = min(max(i, int((time.perf_counter() - begun) / PACE)), moves - 1)
            self.passed += newest - i
            i = newest
            asked = time.perf_counter()
            writer.write(self._question(i))
            raw, packed = await _answer(reader)
            now = time.perf_counter()
            self.waited.append(now - asked)
            self.felt.append(now - max(begun + i * PACE, begun))
            self.sizes.append(len(raw))
            self.packed.append(packed)
            told = json.loads(raw)
            self.shown |= told.get("marks", {})
            self.structure = told.get("structure", self.structure)
            i += 1
        writer.close()

    def _question(self, i: int) -> bytes:
        self.turn += 1
        value = MOVED[self.where](i + 7 * self.number)
        body = json.dumps({
            "query": f"machine={MACHINE}&set={self.where}={value}", "part": "quick", "structure": self.structure,
            "shown": self.shown, "sight": SIGHT, "tab": self.tab, "turn": self.turn,
        }).encode()  # fmt: skip
        return f"{self.head}{len(body)}\r\n\r\n".encode() + body


async def _answer(reader: asyncio.StreamReader) -> tuple[bytes, int]:
    """The content of the next answer, and its bytes on the wire."""
    head = (await reader.readuntil(b"\r\n\r\n")).lower()
    assert head.startswith(b"http/1.1 200"), head
    length = re.search(rb"content-length: (\d+)", head)
    assert length is not None, head
    content = await reader.readexactly(int(length[1]))
    return gzip.decompress(content) if b"content-encoding: gzip" in head else content, len(content)


async def _moved(tabs: list[User], moves: int) -> None:
    await asyncio.gather(*(tab.move(moves) for tab in tabs))


def family(pid: int) -> list[int]:
    """A process and all that it started."""
    found = [pid]
    for one in found:
        for thread in Path(f"/proc/{one}/task").iterdir():
            found += map(int, (thread / "children").read_text(encoding="ascii").split())
    return found


def processor(pid: int) -> float:
    """Processor time so far of a process and those it started, s."""
    spent = 0
    for one in family(pid):
        fields = Path(f"/proc/{one}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        spent += int(fields[11]) + int(fields[12])
    return spent / os.sysconf("SC_CLK_TCK")


def memory(pid: int) -> float:
    """Memory of a process and those it started, MB; what they share is counted once."""
    kept = [Path(f"/proc/{one}/smaps_rollup").read_text(encoding="ascii") for one in family(pid)]
    return sum(int(re.search(r"^Pss:\s+(\d+)", one, re.MULTILINE)[1]) for one in kept) / 1e3  # type: ignore[index]


def one_run() -> float:
    """Processor time of one run, s."""
    machine = load(MACHINE)
    taken = []
    for i in range(60):
        changed = machine.with_({"headbox.consistency": 0.0015 + 1e-5 * i})
        begun = time.process_time()
        changed.run()
        taken.append(time.process_time() - begun)
    return statistics.median(taken)


def let_in(address: str) -> tuple[int, str]:
    """The port of the server, and the cookie it gives to who opens its address."""
    parts = urlsplit(address)
    assert parts.port is not None
    wire = http.client.HTTPConnection("127.0.0.1", parts.port)
    wire.request("GET", f"{parts.path}?{parts.query}" if parts.query else parts.path)
    reply = wire.getresponse()
    reply.read()
    cookie = str(reply.getheader("set-cookie")).partition(";")[0]
    wire.request("GET", str(reply.getheader("location")), headers={"cookie": cookie})
    page = wire.getresponse()
    assert page.status == 200 and page.read()
    return parts.port, cookie


def measured(port: int, cookie: str, pid: int, users: int, seconds: float) -> dict[str, dict[str, float]]:
    """Let so many users move each slider for so long; times in s, sizes in kB, as a record of each slider."""
    found = {}
    for where in MOVED:
        tabs = [User(port, cookie, number, where) for number in range(users)]
        asyncio.run(_moved(tabs, 12))  # what every tab is sent once
        for tab in tabs:
            tab.clear()
        run = one_run()
        before, own = processor(pid), time.process_time()
        asyncio.run(_moved(tabs, int(seconds / PACE)))
        own = time.process_time() - own
        spent = processor(pid) - before
        waited, felt = (sorted(one for tab in tabs for one in getattr(tab, name)) for name in ("waited", "felt"))
        sizes, packed = ([one for tab in tabs for one in getattr(tab, name)] for name in ("sizes", "packed"))
        many = len(waited)
        found[where] = {
            "answers": many, "passed": sum(tab.passed for tab in tabs), "p50": _at(waited, 0.5),
            "p95": _at(waited, 0.95),
            "felt p50": _at(felt, 0.5), "felt p95": _at(felt, 0.95), "server": spent / many, "run": run,
            "users": own / many, "kB": statistics.median(sizes) / 1e3, "packed": statistics.median(packed) / 1e3,
        }  # fmt: skip
    return found


def shown(found: dict[str, dict[str, float]]) -> None:
    """Print how it went."""
    for where, one in found.items():
        print(
            f"{where}: {one['answers']} answers, {one['passed']} moves passed over; question to answer p50 "
            f"{_ms(one['p50'])}, p95 {_ms(one['p95'])} ms; move to answer p50 {_ms(one['felt p50'])}, p95 "
            f"{_ms(one['felt p95'])} ms; server {1e3 * one['server']:.1f} ms of processor an answer = "
            f"{one['server'] / one['run']:.1f} runs of {1e3 * one['run']:.2f} ms, the users {1e3 * one['users']:.1f} "
            f"ms; {one['kB']:.1f} kB, {one['packed']:.1f} packed"
        )


def _at(ordered: list[float], share: float) -> float:
    return ordered[int(share * (len(ordered) - 1))]


def _ms(seconds: float) -> str:
    return f"{1e3 * seconds:.0f}"


def settled(pid: int, patience: float = 120.0) -> None:
    """Wait until the server starts no more processes and does nothing behind its page."""
    until, quiet = time.monotonic() + patience, 0
    while quiet < 3 and time.monotonic() < until:
        before = processor(pid), len(family(pid))
        time.sleep(1.0)
        quiet = quiet + 1 if processor(pid) - before[0] < 0.1 and len(family(pid)) == before[1] else 0


@contextmanager
def serving(env: dict[str, str] | None = None) -> Iterator[tuple[int, str, int]]:
    """A server of its own: port, cookie of who was let in, number of its process."""
    command = [sys.executable, "-m", "thinstock", "open", MACHINE, "--no-browser", "--workspace", tempfile.mkdtemp()]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env)
    try:
        assert server.stdout is not None
        address = next(line.strip() for line in iter(server.stdout.readline, "") if "http://" in line)
        port, cookie = let_in(address)
        settled(server.pid)
        yield port, cookie, server.pid
    finally:
        server.kill()
        server.wait()


def told(env: dict[str, str], users: int = 10, seconds: float = 10.0) -> dict[str, float]:
    """What ten users wait, 95 in 100, and what an answer to one user costs the server, s; `env` says which checkout."""
    with serving(env) as (port, cookie, pid):
        one, many = (measured(port, cookie, pid, count, seconds) for count in (1, users))
    made = {f"server, a move of {where}": found["server"] for where, found in one.items()}
    return made | {f"ten users, {where}, 95 in 100": found["p95"] for where, found in many.items()}


def main() -> None:
    """Start a server, let the users in, print."""
    users = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0
    with serving() as (port, cookie, pid):
        print("to reach: p95 150 ms, 12 ms of processor an answer (about 5 runs), 35 kB")
        print(f"{len(family(pid))} processes, {memory(pid):.0f} MB")
        for many in (1, users):
            print(f"{many} user{'s' if many > 1 else ''}, ten moves a second each")
            shown(measured(port, cookie, pid, many, seconds))


if __name__ == "__main__":
    main()
