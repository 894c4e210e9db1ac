"""Answers worked out in processes of their own, where one interpreter would have them wait for each other.

Every process answers questions in rows, one after the other in each, by one function; it knows nothing that its
questions do not bring, so that any of them may answer, or none. Nothing here knows what is asked. A process ends when
its pipes do, also where nobody was left to end it.
"""

from __future__ import annotations

import contextlib
import gc
import multiprocessing
import os
import signal
import threading
import time
import traceback
from collections import OrderedDict
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Any

from thinstock.errors import ThinstockError

ROWS = 2
"""Rows of questions that one process answers side by side: quick ones and long ones."""
MOST = 4
"""No more processes than this, however many cores there are: each takes about as much memory as the server."""
LASTING = 10.0
"""Seconds without a question after which a name no longer counts among those that keep a process busy."""
NAMES = 500
"""So many names are remembered."""


class Lost(ThinstockError):
    """The process ended before it answered."""


class Failed(ThinstockError):
    """The function failed; the trace of it is the text."""


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Worker:
    """One process and a pipe to it for every row; one question at a time in each."""

    def __init__(self, number: int, work: str, first: Sequence[Any]) -> None:
        context = multiprocessing.get_context("spawn")
        pairs = [context.Pipe() for _ in range(ROWS)]
        self.number = number
        self.pipes = [ours for ours, _ in pairs]
        theirs = [other for _, other in pairs]
        self.process = context.Process(
            target=_serve, args=(theirs, work, first), daemon=True, name=f"thinstock-answers-{number}"
        )
        self.process.start()
        for other in theirs:
            other.close()
        self.ready = False

    def wait(self) -> None:
        """Wait until it has answered the first questions, unheard."""
        with contextlib.suppress(EOFError, OSError):
            self.pipes[0].recv()
            self.ready = True

    def answer(self, row: int, question: Any) -> Any:
        """Its answer; `Lost` where it ended before, `Failed` where the function did."""
        try:
            self.pipes[row].send(question)
            good, content = self.pipes[row].recv()
        except (EOFError, OSError, ValueError):
            self.ready = False
            raise Lost from None
        if not good:
            raise Failed(content)
        return content

    def end(self) -> None:
        """Stop the process, whatever it does."""
        self.ready = False
        with contextlib.suppress(OSError, ValueError):
            self.process.kill()
            self.process.join(5)
        for pipe in self.pipes:
            with contextlib.suppress(OSError):
                pipe.close()


class Workers:
    """The processes of one server. A name that asks keeps its process, which may remember what it told it last.

    `work` names the function, `first` are questions that each process answers unheard, so that what it needs is loaded,
    and `after` is waited for before the first of them starts.
    """

    def __init__(
        self, work: str, first: Sequence[Any], count: int | None = None, *, after: Callable[[], Any] | None = None
    ) -> None:
        self.work, self.first, self.after = work, first, after
        self.count = min(cores(), MOST) if count is None else count
        self._held: list[Worker | None] = [None] * self.count
        self._homes: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._lock = threading.Lock()
        self._starting: threading.Thread | None = None
        self._closed = False
        self._next = 0

    def start(self) -> None:
        """Have all processes ready, sooner or later, in a thread of its own."""
        with self._lock:
            busy = self._starting is not None and self._starting.is_alive()
            if busy or self._closed or self.count < 2 or all(one is not None and one.ready for one in self._held):
                return
            self._starting = threading.Thread(target=self._start, daemon=True, name="workers")
            self._starting.start()

    def _start(self) -> None:
        """One after the other, so that the page loses no more than one core to them."""
        if self.after is not None:
            self.after()
        for number in range(self.count):
            old = self._held[number]
            if old is not None and old.ready:
                continue
            if old is not None:
                old.end()
            with self._lock:
                if self._closed:
                    return
                try:
                    made = self._held[number] = Worker(number, self.work, self.first)
                except OSError:  # no process to be had: the server answers by itself
                    self._held[number] = None
                    return
            made.wait()

    def wait(self, patience: float) -> bool:
        """Whether all are ready, at the latest after so many seconds."""
        starting = self._starting
        if starting is not None:
            starting.join(patience)
        return self.count > 1 and all(one is not None and one.ready for one in self._held)

    def of(self, name: str, row: int) -> Worker | None:
        """The process that answers this name in this row; None where none is ready.

        The second row of a name goes to the neighbour of its process, so that its own quick questions do not wait.
        """
        with self._lock:
            ready = [one for one in self._held if one is not None and one.ready]
            if not ready:
                return None
            home = self._home(name, [one.number for one in ready])
            if row == 0 or len(ready) < 2:
                return self._held[home]
            place = next(at for at, one in enumerate(ready) if one.number == home)
            return ready[(place + row) % len(ready)]

    def _home(self, name: str, ready: list[int]) -> int:
        """The number of a name's process: the one it had, else the one that fewest names keep busy."""
        now = time.monotonic()
        if not name:
            self._next += 1
            return ready[self._next % len(ready)]
        home = self._homes.pop(name, (-1, 0.0))[0]
        if home not in ready:
            busy = [at for at, seen in self._homes.values() if now - seen < LASTING]
            home = min(ready, key=busy.count)
        self._homes[name] = (home, now)
        while len(self._homes) > NAMES:
            self._homes.popitem(last=False)
        return home

    def close(self) -> None:
        """End everything."""
        with self._lock:
            self._closed = True
            held, self._held = self._held, [None] * self.count
        for one in held:
            if one is not None:
                one.end()


# -- inside the process ------------------------------------------------------------------------------------------------


def _serve(pipes: list[Any], work: str, first: Sequence[Any]) -> None:
    """A process's life: answer in every row until a pipe ends, which is when its server is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    module, _, name = work.partition(":")
    function = getattr(import_module(module), name)
    for question in first:
        with contextlib.suppress(Exception):
            function(question)
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)
    for pipe in pipes[1:]:
        threading.Thread(target=_answer, args=(pipe, function), daemon=True).start()
    with contextlib.suppress(OSError):
        pipes[0].send("ready")
    _answer(pipes[0], function)


def _answer(pipe: Any, function: Callable[[Any], Any]) -> None:
    """Answer what comes through one pipe."""
    while True:
        try:
            question = pipe.recv()
        except (EOFError, OSError):
            os._exit(0)
        try:
            answer: tuple[bool, Any] = (True, function(question))
        except Exception as error:
            answer = (False, "".join(traceback.format_exception(error)))
        try:
            pipe.send(answer)
        except OSError:
            os._exit(0)
