"""Versions of the machine file. Each older one is brought up to the next by one function.

So old files stay good, and nothing else in the package knows more than one form.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from thinstock.errors import Fault
from thinstock.words.phrase import phrase

CURRENT = 1

Migration = Callable[[dict[str, Any]], dict[str, Any]]

MIGRATIONS: dict[int, Migration] = {}
"""From a version to the next one. Nothing is older than format 1."""


def current(data: dict[str, Any], file: str, line: int | None) -> tuple[dict[str, Any], list[Fault]]:
    """The table in the current format, without its `format`, or the fault."""
    data = dict(data)
    given = data.pop("format", None)
    if given is None:
        fault = Fault(
            field="format",
            value="nothing",
            bound=phrase("case.formats.first_line_says_format_file"),
            remedy=phrase("case.formats.write_format_on_first_line", current=CURRENT),
            file=file,
            line=1,
        )
        return data, [fault]
    if isinstance(given, bool) or not isinstance(given, int) or not _reachable(given):
        newer = isinstance(given, int) and not isinstance(given, bool) and given > CURRENT
        remedy = phrase("case.formats.newer_release_reads_it") if newer else f"Write format = {CURRENT}."
        fault = Fault(
            field="format",
            value=repr(given),
            bound=phrase("case.formats.this_release_reads_format", current=CURRENT),
            remedy=remedy,
            file=file,
            line=line,
        )
        return data, [fault]
    for version in range(given, CURRENT):
        data = MIGRATIONS[version](data)
    return data, []


def _reachable(version: int) -> bool:
    return version <= CURRENT and all(v in MIGRATIONS for v in range(version, CURRENT))
