"""The sheet: its computed formation, and sheets simulated fibre by fibre to look at and to check theory with.

Formation is at hand at once; what draws fibres is loaded, with its compiler, only when it is asked for.
"""

from __future__ import annotations

from thinstock.sheet.dilution import (
    FittedVariation,
    FoundConsistency,
    consistency_for_formation,
    fit_suspension_variation,
)
from thinstock.sheet.formation import DEFAULTS, Formation, formation
from thinstock.sheet.furnish import Furnish

__all__ = [
    "DEFAULTS",
    "FittedVariation",
    "Formation",
    "FoundConsistency",
    "Furnish",
    "consistency_for_formation",
    "fit_suspension_variation",
    "formation",
]
