"""Sheets of a job in a light in which they were not drawn: drawn when somebody wants to see it."""

from __future__ import annotations

import time
from collections import OrderedDict
from threading import Lock

from thinstock.app.work import MODES, LightMade, SheetsWanted
from thinstock.work.jobs import FAILED, OVER, STOPPED, Job, Jobs

WORK = "thinstock.app.work:lit"
PATIENCE = 30.0
"""So long a picture may take, s; what is laid meanwhile comes first."""
MOST = 50

_asked: OrderedDict[tuple[str, str], str] = OrderedDict()
"""By job and light the job that draws the sheets in it."""
_lock = Lock()


def picture(jobs: Jobs, key: str, number: int, light: str) -> bytes | None:
    """One sheet of a job in a light; None where there is no such job or sheet, or it took too long."""
    job = jobs.look(key)
    wanted = None if job is None else job.arguments
    if not isinstance(wanted, SheetsWanted) or light not in MODES or number >= len(wanted.consistencies):
        return None
    drawing = _drawing(jobs, key, wanted, light)
    until, seen = time.monotonic() + PATIENCE, -1
    while True:
        one = jobs.look(drawing, seen, until - time.monotonic())
        found = _of(one, number)
        if found is not None or one is None or one.state in OVER or time.monotonic() > until:
            return found
        seen = one.version


def _of(job: Job | None, number: int) -> bytes | None:
    parts = [] if job is None else list(job.parts)
    return next((part.picture for part in parts if isinstance(part, LightMade) and part.number == number), None)


def _drawing(jobs: Jobs, key: str, wanted: SheetsWanted, light: str) -> str:
    """The job that draws them, started where there is none that has not failed."""
    with _lock:
        known = _asked.get((key, light), "")
        job = jobs.look(known) if known else None
        if job is None or job.state in (FAILED, STOPPED):
            known = _asked[key, light] = jobs.start(WORK, (wanted, light))
            while len(_asked) > MOST:
                _asked.popitem(last=False)
        return known
