"""How sure is a number, what moves it, how do machines and formers compare, and what do a million cases say?

Uncertainty of results, which inputs matter, comparisons, searches and sweeps. Names are loaded when they are first
used, so that importing the package costs nothing.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import Any

_HOMES = {
    "distributions": (
        "Arcsine",
        "CurvilinearTrapezoid",
        "LogUniform",
        "Lognormal",
        "Normal",
        "Rectangular",
        "Student",
        "Triangular",
        "TwoPiece",
    ),
    "intervals": ("central_interval", "position_in_draws"),
    "links": ("link_correlation",),
    "knowing": (
        "gain_for",
        "spread_removed",
        "uncertainty_after",
        "value_of_knowing",
        "value_of_knowing_input",
        "value_of_knowing_normal",
        "value_of_reading_normal",
    ),
    "propagate": (
        "Propagated",
        "first_order",
        "inputs_from_reconciliation",
        "interval_shortest",
        "interval_symmetric",
        "propagate",
    ),
    "sobol": ("Sobol", "sobol_indices"),
    "tornado": ("tornado",),
    "plan": ("Plan", "chunk_count", "chunk_inputs", "grid_plan", "random_plan", "sobol_plan"),
    "ladder": ("Ladder", "formers"),
    "reasons": ("Indicator", "indicators"),
    "compare": ("Comparison", "compare"),
    "change": ("ChangeCard", "change_card"),
    "solve": ("Solved", "solve"),
    "grades": ("what_it_means",),
    "sweep": ("SweepReport", "run_chunk", "run_sweep", "sweep_parts"),
}
_HOME = {name: module for module, names in _HOMES.items() for name in names}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOME])


class _Package(ModuleType):
    """Keeps a function in its place when the module of the same name is imported (`propagate` is both)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _HOME and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
