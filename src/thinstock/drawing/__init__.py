"""Scale drawings and charts of a run: pictures, the words that stand for them, and the data behind them.

The drawing is `elevation`; charts go by name (`chart_names`). Numbers come from results, limits and studies; none
is made here.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

from thinstock.late import brought_in

if TYPE_CHECKING:
    from thinstock.drawing.elevation import elevation as elevation

_HOME = {
    "elevation": "elevation",
    "alt_text": "elevation",
    "table": "elevation",
    "chart_names": "chart",
    "chart_title": "chart",
    "chart_needs": "chart",
    "chart_spec": "chart",
    "chart_data": "chart",
    "chart_full": "chart",
    "chart_svg": "chart",
    "chart_png": "chart",
    "chart_alt": "chart",
    "chart_table": "chart",
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
    return brought_in(__name__, _HOME, name)


class _Package(ModuleType):
    """Keeps a public function in its place when the module of the same name is imported (`elevation` is both)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _HOME and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
