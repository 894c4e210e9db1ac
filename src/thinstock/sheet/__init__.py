"""The sheet: its computed formation, and sheets simulated fibre by fibre to look at and to check theory with.

Formation is at hand at once; what draws fibres is loaded, with its compiler, only when it is asked for.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from thinstock.sheet.dilution import (
    DilutionAnswer,
    FittedVariation,
    FoundConsistency,
    consistency_for_formation,
    dilution_answer,
    fit_suspension_variation,
)
from thinstock.sheet.formation import DEFAULTS, Formation, cv_at_zone, formation
from thinstock.sheet.furnish import Furnish

if TYPE_CHECKING:
    from thinstock.sheet.cast import SheetMap, simulate
    from thinstock.sheet.look import grey, look_through
    from thinstock.sheet.openings import holes
    from thinstock.sheet.pictures import close_up, histogram, panel, picture, save
    from thinstock.sheet.random import uniform
    from thinstock.sheet.showcase import gallery
    from thinstock.sheet.strip import deposit
    from thinstock.sheet.zones import coverage_histogram, zone_cv, zone_cv_error

_LATER = {
    "SheetMap": "cast",
    "simulate": "cast",
    "deposit": "strip",
    "uniform": "random",
    "zone_cv": "zones",
    "zone_cv_error": "zones",
    "coverage_histogram": "zones",
    "holes": "openings",
    "look_through": "look",
    "grey": "look",
    "picture": "pictures",
    "close_up": "pictures",
    "histogram": "pictures",
    "panel": "pictures",
    "save": "pictures",
    "gallery": "showcase",
}

__all__ = [
    "DEFAULTS",
    "DilutionAnswer",
    "FittedVariation",
    "Formation",
    "FoundConsistency",
    "Furnish",
    "SheetMap",
    "close_up",
    "consistency_for_formation",
    "coverage_histogram",
    "cv_at_zone",
    "deposit",
    "dilution_answer",
    "fit_suspension_variation",
    "formation",
    "gallery",
    "grey",
    "histogram",
    "holes",
    "look_through",
    "panel",
    "picture",
    "save",
    "simulate",
    "uniform",
    "zone_cv",
    "zone_cv_error",
]


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f"{__name__}.{_LATER[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
