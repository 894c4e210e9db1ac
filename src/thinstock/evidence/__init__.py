"""What readings and judgement leave open of a machine: populations of its inputs, kept with their correlation.

Everything is done on scores: standard normal before any reading, turned into values by each input's own distribution,
so that no value can leave what is possible. Nothing here knows a survey: models are functions of scores.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "normal": ("conditional_normal", "fixing_share", "score_posterior", "shapley_variance"),
    "sampling": ("population_walk", "randomised_fits", "walk"),
    "population": ("Population", "population_of"),
    "responses": ("constant_at",),
    "file": ("digest", "read_evidence", "write_evidence"),
}
_HOME = {name: module for module, names in _HOMES.items() for name in names}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOME])
