"""Looking at long work and stopping it; what it gave is told by the page it belongs to."""

from __future__ import annotations

import re
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.reply import json_reply
from thinstock.app.state import fault_rows
from thinstock.work import jobs

PATIENCE = 8.0
"""Longest wait for news, s."""


def look(request: Request) -> Response:
    """How far a job is; waits a little for news."""
    kept: jobs.Jobs = request.app.state.jobs
    seen = request.query_params.get("seen", "-1")
    number = int(seen) if seen.lstrip("-").isdigit() and len(seen) < 10 else -1
    wait = request.query_params.get("wait", "")
    patience = min(float(wait), PATIENCE) if re.fullmatch(r"\d\.\d", wait) else PATIENCE
    job = kept.look(request.path_params["key"], number, patience)
    if job is None:
        return json_reply({"state": "unknown"}, status=404)
    return json_reply(told(request, job))


def told(request: Request, job: jobs.Job) -> dict[str, Any]:
    """How far a job is; its failure goes to the terminal."""
    answer: dict[str, Any] = {
        "state": job.state,
        "share": job.share,
        "said": job.said,
        "seen": job.version,
        "parts": len(job.parts),
    }
    if job.state == jobs.REFUSED and job.refused is not None:
        answer["faults"] = fault_rows(job.refused.faults)
    if job.state == jobs.FAILED:
        request.app.state.report(job.error)
    return answer


def stop(request: Request) -> Response:
    """Stop a job."""
    kept: jobs.Jobs = request.app.state.jobs
    return json_reply({"stopped": kept.stop(request.path_params["key"])})


ROUTES = [
    Route("/jobs/{key}", look),
    Route("/jobs/{key}/stop", stop, methods=["POST"]),
]
