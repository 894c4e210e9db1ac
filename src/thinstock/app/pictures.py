"""Drawing and charts of the machine page, from the drawing package: the page only chooses, numbers and places them."""

from __future__ import annotations

from typing import Any

from thinstock import units
from thinstock.limits import Limits
from thinstock.result import Result


def drawing(result: Result, unit_set: units.UnitSet) -> str:
    return ""


def figures(result: Result, limits: Limits | None) -> list[dict[str, Any]]:
    return []


def chart_data(result: Result, limits: Limits | None) -> dict[str, Any]:
    return {}
