"""The sheet: its computed formation, and sheets simulated fibre by fibre to look at and to check theory with.

Formation is at hand at once; what draws fibres is loaded, with its compiler, only when it is asked for. The package
itself can be called: `thinstock.sheet(furnish, 0.018, 0.002)`.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

from thinstock.late import brought_in
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
    return brought_in(__name__, _LATER, name)


def __dir__() -> list[str]:
    return __all__


class _Callable(ModuleType):
    """A package that is also the public function of its name."""

    def __call__(
        self, furnish: Furnish, grammage: float, consistency: float, *, suspension_variation: float = 0.1,
        size: float = 0.024, pixel: float = 50e-6, seed: int = 1, **more: Any,
    ) -> SheetMap:  # fmt: skip
        """A sheet simulated fibre by fibre, to look at and to check theory with.

        Parameters
        ----------
        furnish : Furnish
            The fibres.
        grammage : float
            Fibre on the wire, kg/m².
        consistency : float
            Consistency in the headbox, kg/kg.
        suspension_variation : float
            Variation of the suspension over a floc, 1; nothing is chance alone.
        size : float
            Side of the square, m.
        pixel : float
            Side of a pixel, m.
        seed : int
            The same seed, the same sheet.
        **more
            Any other argument of `thinstock.sheet.simulate`.

        Returns
        -------
        SheetMap
            Fibre layers (1) of every pixel, in an array of shape (along, across), and what it was made from.

        Raises
        ------
        Refused
            All faults of what is asked at once.

        Source: as on the cards of the formulas of formation; the floc field is assumed.
        """
        from thinstock.sheet.cast import simulate

        orientation = more.pop("orientation", 0.0)
        return simulate(furnish, grammage, consistency, suspension_variation, size, pixel, orientation, seed, **more)


sys.modules[__name__].__class__ = _Callable
