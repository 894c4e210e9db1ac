"""The truth page: every published point with what print says and what thinstock answers now, misses first.

Hangs on no machine of the person's: each point is asked of the bundled machine and the changes that come nearest.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app import pictures
from thinstock.app.pages import Page
from thinstock.app.reply import attachment, page_reply
from thinstock.app.taken import KINDS
from thinstock.app.words import say
from thinstock.studies.truth import Judged, truth
from thinstock.tell.truth import counted, tables
from thinstock.words.phrase import capital

ENDS = (0.1, 10.0)
"""Ends of the picture's axis, answer over print."""


def chart_rows(found: Sequence[Judged]) -> list[dict[str, Any]]:
    """A row for every answer: the point, its verdict, the band that passes and the answer, over what is printed."""
    rows: list[dict[str, Any]] = []
    for one in found:
        ends = [min(max(end / one.point.reference, ENDS[0]), ENDS[1]) for end in one.point.ends]
        for answer, ratio in zip(one.answers, one.ratios(), strict=True):
            rows.append(
                {
                    "point": one.point.key, "verdict": one.verdict, "low": ends[0], "high": ends[1],
                    "machine": answer.machine, "ratio": min(max(ratio, ENDS[0]), ENDS[1]),
                }
            )  # fmt: skip
    return rows


def show(request: Request) -> Response:
    """The whole page."""
    found = truth()
    rows = chart_rows(found)
    figure = pictures.figure_of(
        "truth", {"rows": rows}, number=1, caption=say("truth.chart"), rows=rows, files="/truth/file/"
    )
    return page_reply(request, "truth.html", here="truth", count=capital(counted(found)), figures=[figure],
                      tables=tables(found))  # fmt: skip


def taken_along(request: Request) -> Response:
    """The picture as a file, or its rows."""
    kind = request.path_params["kind"]
    if kind not in KINDS:
        raise HTTPException(404)
    rows = chart_rows(truth())
    content = pictures.csv_of(rows) if kind == "csv" else pictures.own_chart_file("truth", {"rows": rows}, kind)
    return attachment(content, KINDS[kind], f"truth.{kind}")


ROUTES = (Route("/truth", show), Route("/truth/file/truth.{kind}", taken_along))
PAGE = Page(name="truth", title="Truth", place=80, routes=ROUTES)
