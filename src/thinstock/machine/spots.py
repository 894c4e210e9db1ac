"""Moisture over the area of the reel, from the spots of unlike grammage that a dryer's march tells of."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thinstock.formula.label import Array, worksheet
from thinstock.kernels.dryer_spots import EVEN, NODES
from thinstock.relations import uneven
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.kernels.dryer import Dried


def spots_of(dried: Dried, uneven_variance: Num) -> tuple[Array, Array]:
    """Relative grammage and moisture ratio of the five spots, spots on the last axis."""
    v = np.asarray(uneven_variance, dtype=float)
    grammage = np.asarray(uneven.local_grammage(np.array(NODES), v[..., None]))
    grammage[..., 2] = 1.0
    wet = (dried.moisture_ratio_light, dried.moisture_ratio_inner_light, dried.moisture_ratio_mean,
           dried.moisture_ratio_inner_heavy, dried.moisture_ratio_heavy)  # fmt: skip
    return grammage, np.stack(np.broadcast_arrays(*wet), axis=-1)


def area_above(dried: Dried, uneven_variance: Num, moisture: Num) -> Num:
    """Share of the reel's area that is wetter than this (water over wet sheet)."""
    v = np.asarray(uneven_variance, dtype=float)
    with worksheet(False):
        grammage, wet = spots_of(dried, v)
        even = v < EVEN
        spread = np.where(even[..., None], np.linspace(0.9, 1.1, len(NODES)), grammage)
        limit = np.asarray(moisture) / (1.0 - np.asarray(moisture))
        border = uneven.relative_grammage_at_moisture(limit, spread, wet)
        share = uneven.area_share_above(border, np.maximum(v, EVEN))
    return np.where(even, np.greater(wet[..., 2], limit), share)[()]
