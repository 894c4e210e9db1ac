"""Lines of the charts of sheets: their names stand at their ends, apart from each other."""

from __future__ import annotations

from typing import Any


def labelled_ends(curve: list[dict[str, Any]], what: str, apart: float, lowest: float) -> list[dict[str, Any]]:
    """The rows of a chart, the names at the ends of its lines so many times apart, and none below the lowest place."""
    ends = sorted((row for row in curve if row.get("last")), key=lambda row: float(row[what]))
    middle = len(ends) // 2
    for number, row in enumerate(ends):
        row["at"] = float(row[what])
        if number > middle:
            row["at"] = max(row["at"], ends[number - 1]["at"] * apart)
    for low, high in zip(reversed(ends[:middle]), reversed(ends[1 : middle + 1]), strict=True):
        low["at"] = min(float(low[what]), high["at"] / apart)
    for row in ends:
        row["at"], lowest = max(row["at"], lowest), max(row["at"], lowest) * apart
    return curve
