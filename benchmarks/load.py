"""Ten people who move a slider at once: how long each waits, and what an answer costs the server.

Every user sends what the page sends: one question at a time, ten moves a second, the newest value where the one before
took longer than a tenth of a second. Beside the times on the clock, which other programs disturb, stand the server's
processor time for an answer, as a multiple of one run of the same machine in a process of its own, and the bytes.
Run: python benchmarks/load.py [users] [seconds]
"""

from __future__ import annotations

import http.client
import json
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

from thinstock.case.read import load

MACHINE = "facial-roll"
PACE = 0.1
SIGHT = ["drawing", "notes", "chart-water_staircase"]
"""What is in sight while the slider of the form is held, on a screen of 1440 x 900."""
MOVED = {
    "headbox.consistency": lambda i: f"{0.15 + 0.001 * (i % 80):.3f}",
    "yankee.speed": lambda i: f"{1500 + 5 * (i % 80)}",
}


class User(threading.Thread):
    """One tab that moves a slider."""

    def __init__(self, port: int, cookie: str, number: int, moves: int, where: str) -> None:
        super().__init__()
        self.port, self.cookie, self.number, self.moves, self.where = port, cookie, number, moves, where
        self.waited: list[float] = []
        self.sizes: list[int] = []
        self.shown: dict[str, str] = {}
        self.structure = ""

    def run(self) -> None:
        wire = http.client.HTTPConnection("127.0.0.1", self.port)
        begun = time.monotonic() + 0.013 * self.number
        for i in range(self.moves):
            now = time.monotonic()
            if now < begun + i * PACE:
                time.sleep(begun + i * PACE - now)
            elif now > begun + (i + 1) * PACE:
                continue  # a newer value has come meanwhile
            value = MOVED[self.where](i + 7 * self.number)
            body = {
                "query": f"machine={MACHINE}&set={self.where}={value}", "part": "quick", "structure": self.structure,
                "shown": self.shown, "sight": SIGHT, "tab": f"user {id(self)}", "turn": i + 1,
            }  # fmt: skip
            asked = time.perf_counter()
            origin = f"http://127.0.0.1:{self.port}"
            wire.request("POST", "/machine/answer", json.dumps(body),
                         {"content-type": "application/json", "origin": origin, "cookie": self.cookie})  # fmt: skip
            reply = wire.getresponse()
            raw = reply.read()
            self.waited.append(time.perf_counter() - asked)
            assert reply.status == 200, raw
            told = json.loads(raw)
            self.sizes.append(len(raw))
            self.shown |= told.get("marks", {})
            self.structure = told.get("structure", self.structure)


def processor(pid: int) -> float:
    """Processor time of a process so far, s."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


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
    return parts.port, str(reply.getheader("set-cookie")).partition(";")[0]


def measured(port: int, cookie: str, pid: int, users: int, seconds: float) -> None:
    """Let so many users move for so long and print how it went."""
    for where in MOVED:
        tabs = [User(port, cookie, number, 12, where) for number in range(users)]
        for tab in tabs:  # what every tab is sent once
            tab.start()
        for tab in tabs:
            tab.join()
        again = [User(port, cookie, number, int(seconds / PACE), where) for number in range(users)]
        for old, new in zip(tabs, again, strict=True):
            new.shown, new.structure = old.shown, old.structure
        run = one_run()
        before = processor(pid)
        for tab in again:
            tab.start()
        for tab in again:
            tab.join()
        spent = processor(pid) - before
        waited = sorted(one for tab in again for one in tab.waited)
        sizes = [one for tab in again for one in tab.sizes]
        print(f"{where}: {len(waited)} answers, p50 {1e3 * statistics.median(waited):.0f} ms, "
              f"p95 {1e3 * waited[int(0.95 * len(waited))]:.0f} ms, server {1e3 * spent / len(waited):.1f} ms "
              f"of processor an answer = {spent / len(waited) / run:.1f} runs of {1e3 * run:.2f} ms, "
              f"{statistics.median(sizes) / 1e3:.1f} kB")  # fmt: skip


def main() -> None:
    """Start a server, let the users in, print."""
    users = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0
    command = [sys.executable, "-m", "thinstock", "open", MACHINE, "--no-browser", "--workspace", tempfile.mkdtemp()]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        address = next(line.strip() for line in iter(server.stdout.readline, "") if "http://" in line)
        port, cookie = let_in(address)
        print("to reach: p95 150 ms, 12 ms of processor an answer (about 5 runs), 35 kB")
        for many in (1, users):
            print(f"{many} user{'s' if many > 1 else ''}, ten moves a second each")
            measured(port, cookie, server.pid, many, seconds)
    finally:
        server.kill()
        server.wait()


if __name__ == "__main__":
    main()
