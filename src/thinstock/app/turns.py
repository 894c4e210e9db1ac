"""Whose turn it is: answers to sliders one after the other, and what a tab no longer waits for is not worked out."""

from __future__ import annotations

import contextlib
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from threading import Lock
from typing import Any

from starlette.exceptions import HTTPException

TABS = 500
"""The last question is remembered of so many tabs."""
HERE = -1
"""The number that stands for the process of the server itself."""
SUPERSEDED = 409
"""What a question is answered with that a later one of its tab has made useless."""


class Turns:
    """Answers one after the other, quick ones and long ones each in a row of their own, in every process.

    Side by side they would share one interpreter, and all of ten would be as late as the last.
    """

    def __init__(self) -> None:
        self._last: OrderedDict[str, int] = OrderedDict()
        self._lock = Lock()
        self._rows: dict[tuple[int, bool], Lock] = {}

    def asked(self, body: Mapping[str, Any]) -> tuple[str, int]:
        """The tab that asks and the number of its question, as the body tells them; the tab waits for this one now."""
        tab, turn = body.get("tab", ""), body.get("turn", 0)
        if not isinstance(tab, str) or not isinstance(turn, int) or len(tab) > 40:
            raise HTTPException(400)
        if tab:
            with self._lock:
                self._last[tab] = max(turn, self._last.get(tab, turn))
                self._last.move_to_end(tab)
                while len(self._last) > TABS:
                    self._last.popitem(last=False)
        return tab, turn

    @contextlib.contextmanager
    def row(self, asked: tuple[str, int], *, quick: bool, at: int = HERE) -> Iterator[None]:
        """Wait for this question's turn in the process of this number; HTTPException where its tab has asked another
        one by then."""
        with self._lock:
            row = self._rows.setdefault((at, quick), Lock())
        with row:
            tab, turn = asked
            if tab and self._last.get(tab, turn) > turn:
                raise HTTPException(SUPERSEDED)
            yield
