"""Scale drawings and charts of a run: pictures, the words that stand for them, and the data behind them.

Drawing `elevation`; charts by name with `chart_names`. Numbers come from results, limits and studies; none is made here.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOME = {
    "elevation": "elevation",
    "alt_text": "elevation",
    "table": "elevation",
    "chart_names": "charts",
    "chart_title": "charts",
    "chart_needs": "charts",
    "chart_spec": "charts",
    "chart_data": "charts",
    "chart_full": "charts",
    "chart_svg": "charts",
    "chart_png": "charts",
    "chart_alt": "charts",
    "chart_table": "charts",
}
"""Where each name lives; fetched when first asked for."""

__all__ = [
    "alt_text",
    "chart_alt",
    "chart_data",
    "chart_full",
    "chart_names",
    "chart_needs",
    "chart_png",
    "chart_spec",
    "chart_svg",
    "chart_table",
    "chart_title",
    "elevation",
    "table",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'thinstock.drawing' has no attribute {name!r}")
    found = getattr(import_module(f"thinstock.drawing.{_HOME[name]}"), name)
    if not hasattr(found, "__path__"):
        globals()[name] = found
    return found
