"""Which holes of a sheet an eye sees against a window and against a lamp."""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, worksheet
from thinstock.relations import light_sheet
from thinstock.sheet.formation import Formation, cv_at_zone
from thinstock.sheet.look import EXTINCTION, SCATTERING

SPREAD_ANGLE = 4.363e-4
"""Blur of the eye at half height, rad (library, formation.toml [eye])."""
VIEWING_DISTANCE = 0.3
CONTRAST = 0.05
GRAINS = 3.0
"""A hole must beat the contrast of the sheet's own grain this many times."""
SQUARE = 0.886
"""Side of the square that blurs as much as the eye, over its blur."""


def visible_holes(
    sheet: Formation, *, scattering: float = SCATTERING["tissue"], extinction: float = EXTINCTION
) -> tuple[Num, Num]:
    """Diameter (m) of the smallest hole seen against a window and against a lamp."""
    with worksheet(False):
        cv = cv_at_zone(sheet, SQUARE * VIEWING_DISTANCE * SPREAD_ANGLE)
        found = []
        through = light_sheet.transmittance_diffuse(sheet.grammage, scattering)
        straight = light_sheet.transmittance_direct(sheet.coverage, extinction)
        for light, direct in ((through, 0.0), (straight, 1.0)):
            grain = light_sheet.grain_contrast(light, cv, direct)
            needed = np.maximum(CONTRAST, GRAINS * np.asarray(grain))
            found.append(light_sheet.visible_hole_diameter(VIEWING_DISTANCE, SPREAD_ANGLE, light, needed))
    return found[0], found[1]
