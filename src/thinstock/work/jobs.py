"""Long work in a process of its own, so that the page stays quick: started, watched, stopped; one piece at a time.

The worker is a fresh (spawned) process that stays warm between jobs; stopping a job ends its process. What it works on
and what it gives back must travel between processes. Nothing here knows what the work is about.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import secrets
import signal
import threading
import time
import traceback
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any, TypeVar

from thinstock.errors import Refused
from thinstock.words.phrase import phrase

KEPT = 16
"""So many finished jobs are remembered."""
WAITING, RUNNING, DONE, REFUSED, FAILED, STOPPED = "waiting", "running", "done", "refused", "failed", "stopped"
OVER = frozenset({DONE, REFUSED, FAILED, STOPPED})

Tell = Callable[..., None]
Given = TypeVar("Given")


@dataclass
class Job:
    """One piece of work and how far it is."""

    id: str
    work: str
    """module:function, called with the arguments and a function that tells how far it is."""
    arguments: Any
    state: str = WAITING
    share: float = 0.0
    said: str = ""
    parts: list[Any] = field(default_factory=list)
    """What it gave so far."""
    result: object = None
    error: str = ""
    """The trace of a failure; for the terminal, never for the page."""
    refused: Refused | None = None
    version: int = 0
    """Rises with every change."""


class Jobs:
    """The work of one server."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._changed = threading.Condition()
        self._worker: _Worker | None = None
        self._thread: threading.Thread | None = None
        self._closed = False

    def start(self, work: str, arguments: Any) -> str:
        """Put work in the queue; its name, which nobody can guess."""
        job = Job(id=secrets.token_urlsafe(12), work=work, arguments=arguments)
        with self._changed:
            self._jobs[job.id] = job
            over = [key for key, one in self._jobs.items() if one.state in OVER]
            for key in over[: max(0, len(over) - KEPT)]:
                del self._jobs[key]
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._run, daemon=True, name="jobs")
                self._thread.start()
            self._changed.notify_all()
        return job.id

    def warm(self, work: str) -> None:
        """Have a process ready that has loaded what this work needs, so that the first to ask does not wait for it."""
        with self._changed:
            if self._worker is None and not self._closed:
                self._worker = _Worker(work)

    def look(self, key: str, seen: int = -1, patience: float = 0.0) -> Job | None:
        """A job, at once or as soon as it is further than `seen`; None where there is none of this name."""
        until = time.monotonic() + patience
        with self._changed:
            while True:
                job = self._jobs.get(key)
                left = until - time.monotonic()
                if job is None or job.version > seen or job.state in OVER or left <= 0:
                    return job
                self._changed.wait(left)

    def result(self, key: str, kind: type[Given]) -> Given | None:
        """What a job that is done gave, where it is of this kind; else None."""
        with self._changed:
            job = self._jobs.get(key)
            return job.result if job is not None and job.state == DONE and isinstance(job.result, kind) else None

    def stop(self, key: str) -> bool:
        """Stop a job; False where there is none of this name."""
        with self._changed:
            job = self._jobs.get(key)
            if job is None:
                return False
            if job.state in OVER:
                return True
            running = job.state == RUNNING
            self._now(job, state=STOPPED)
            worker, self._worker = (self._worker, None) if running else (None, self._worker)
        if worker is not None:
            worker.end()
        return True

    def close(self) -> None:
        """End everything."""
        with self._changed:
            self._closed = True
            for job in self._jobs.values():
                if job.state not in OVER:
                    self._now(job, state=STOPPED)
            worker, self._worker = self._worker, None
            self._changed.notify_all()
        if worker is not None:
            worker.end()

    # -- the thread that feeds the worker ------------------------------------------------------------------------------

    def _now(self, job: Job, **fields: Any) -> None:
        for name, value in fields.items():
            setattr(job, name, value)
        job.version += 1
        self._changed.notify_all()

    def _run(self) -> None:
        while True:
            with self._changed:
                job = next((one for one in self._jobs.values() if one.state == WAITING), None)
                if self._closed:
                    return
                if job is None:
                    self._changed.wait()
                    continue
                try:
                    worker, said = self._ready()
                except Exception as error:  # no process to be had: this work fails, the next tries again
                    self._now(job, state=FAILED, error="".join(traceback.format_exception(error)))
                    continue
                self._now(job, state=RUNNING, said=said)
            self._follow(job, worker)

    def _ready(self) -> tuple[_Worker, str]:
        """A worker that lives, and what to say where the one there was has ended since its last work."""
        said = ""
        if self._worker is not None and not self._worker.process.is_alive():
            self._worker.end()
            self._worker, said = None, phrase("work.jobs.worker_started_anew")
        if self._worker is None:
            self._worker = _Worker()
        return self._worker, said

    def _follow(self, job: Job, worker: _Worker) -> None:
        """Hand the job over and take what the worker tells until it is over."""
        try:
            worker.pipe.send((job.work, job.arguments))
            while True:
                kind, content = worker.pipe.recv()
                with self._changed:
                    if job.state in OVER:
                        return
                    if kind == "tell":
                        share, said, part = content
                        if part is not None:
                            job.parts.append(part)
                        self._now(job, share=share, said=said)
                    elif kind == "done":
                        self._now(job, state=DONE, share=1.0, result=content)
                    elif kind == "refused":
                        self._now(job, state=REFUSED, refused=content)
                    else:
                        self._now(job, state=FAILED, error=str(content))
                    if job.state in OVER:
                        return
        except (EOFError, OSError):
            with self._changed:
                if job.state not in OVER:
                    self._now(job, state=FAILED, error=phrase("work.jobs.worker_ended_by_itself_short"))
                if self._worker is worker:
                    self._worker = None
            worker.end()


class _Worker:
    """One process and the pipe to it."""

    def __init__(self, first: str = "") -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_work, args=(theirs, first), daemon=True, name="thinstock-worker")
        self.process.start()
        theirs.close()

    def end(self) -> None:
        """Stop the process, whatever it does."""
        with contextlib.suppress(OSError, ValueError):
            self.process.kill()
            self.process.join(5)
            self.pipe.close()


def _work(pipe: Any, first: str = "") -> None:
    """The worker's life: take work, do it, say how it went; ends when its server is gone.

    `first` names what is called once beforehand, unheard.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        with contextlib.suppress(OSError):
            os.nice(10)

    if first:
        module, _, name = first.partition(":")
        with contextlib.suppress(Exception):
            getattr(import_module(module), name)()

    def tell(share: float, said: str = "", part: Any = None) -> None:
        try:
            pipe.send(("tell", (float(share), said, part)))
        except OSError:
            os._exit(0)

    while True:
        try:
            work, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            module, _, name = work.partition(":")
            answer: tuple[str, Any] = ("done", getattr(import_module(module), name)(arguments, tell))
        except Refused as refused:
            answer = ("refused", refused)
        except Exception as error:
            answer = ("failed", "".join(traceback.format_exception(error)))
        try:
            pipe.send(answer)
        except OSError:
            return
