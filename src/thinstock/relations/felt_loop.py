"""One round of a press felt that also forms or carries the sheet: nip, shower, boxes, forming, felt vacuum,
nip.

Finds the steady state of that round and what each stage takes out or puts in, per square metre of felt.
Seepage between felt and sheet on the way and losses by mist are left out.
"""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Num, derived
from thinstock.relations.felt import (
    felt_moisture_ratio_after_box,
    felt_moisture_ratio_after_nip,
    nip_drainage_felt,
)


class FeltLoop(NamedTuple):
    """A felt in steady running: moisture ratio after each stage, water taken out by each per area of felt."""

    felt_moisture_ratio: Num
    """Entering the nip."""
    felt_moisture_after_nip: Num
    felt_moisture_after_shower: Num
    felt_moisture_after_boxes: Num
    felt_moisture_after_uptake: Num
    felt_moisture_after_vacuum: Num
    box_water: Num
    felt_vacuum_water: Num
    nip_drainage: Num


@derived(
    """pressed = grammage*(moisture_ratio_in - moisture_ratio_pressed)
        over = felt_grammage*felt_moisture_ratio + pressed - felt_grammage*felt_saturated_ratio
        nipped = felt_moisture_ratio + (pressed - max(0, over) - rewet)/felt_grammage
        showered = nipped + shower/felt_grammage
        boxed = min(showered, felt_end_ratio + (showered - felt_end_ratio)*exp(-dwell/time_constant))
        formed = boxed + felt_uptake/felt_grammage
        kept = exp(-vacuum_dwell/vacuum_time_constant)
        0 = min(formed, vacuum_end_ratio + (formed - vacuum_end_ratio)*kept) - felt_moisture_ratio""",
    gives=FeltLoop._fields,
    kind="equation",
    where="one round brings the felt back as it was; checked by iteration",
)
def felt_loop_steady(
    felt_grammage: Num,
    grammage: Num,
    moisture_ratio_in: Num,
    moisture_ratio_pressed: Num,
    rewet: Num,
    shower: Num,
    felt_saturated_ratio: Num,
    felt_end_ratio: Num,
    dwell: Num,
    time_constant: Num,
    felt_uptake: Num,
    vacuum_end_ratio: Num,
    vacuum_dwell: Num,
    vacuum_time_constant: Num,
) -> FeltLoop:
    """Steady felt moisture all round a loop that also takes up water in forming and passes a felt vacuum.

    Picture: a bath with two taps and three drains; the level settles where as much leaves as comes in.
    Use for: a felt under the former (`felt_uptake`, kg/m² of water, 0 for a closed felt) and a suction roll
    or box before the nip (`vacuum_dwell` 0 where there is none). Without both it is
    `felt.felt_moisture_ratio_steady`. Not a number where the felt is brought no water.
    Every stage is the lesser of two rising straight lines of the felt's moisture, so a round is the least of
    eight and its steady state the least of their fixed points: no iteration is needed.
    """
    boxes = np.exp(-dwell / time_constant)
    vacuum = np.exp(-vacuum_dwell / vacuum_time_constant)
    pressed = grammage * (moisture_ratio_in - moisture_ratio_pressed)
    gain = pressed - rewet + shower + felt_uptake
    after_nip = (
        (1.0, (pressed - rewet) / felt_grammage),
        (0.0, felt_saturated_ratio - rewet / felt_grammage),
    )
    by_boxes = ((1.0, 0.0), (boxes, felt_end_ratio * (1.0 - boxes)))
    by_vacuum = ((1.0, 0.0), (vacuum, vacuum_end_ratio * (1.0 - vacuum)))
    steady: Num = np.inf
    with np.errstate(divide="ignore", invalid="ignore"):
        for (a, b), (c, d), (e, f) in product(after_nip, by_boxes, by_vacuum):
            slope = a * c * e
            level = ((b + shower / felt_grammage) * c + d + felt_uptake / felt_grammage) * e + f
            steady = np.where(np.less(slope, 1.0), np.minimum(steady, np.divide(level, 1.0 - slope)), steady)
    start = np.where(gain > 0.0, steady, np.nan)[()]
    sheet = (grammage, moisture_ratio_in, moisture_ratio_pressed, felt_saturated_ratio)
    nipped = felt_moisture_ratio_after_nip(felt_grammage, start, *sheet, rewet)
    showered = nipped + shower / felt_grammage
    boxed = felt_moisture_ratio_after_box(showered, felt_end_ratio, dwell, time_constant)
    formed = boxed + felt_uptake / felt_grammage
    sucked = felt_moisture_ratio_after_box(formed, vacuum_end_ratio, vacuum_dwell, vacuum_time_constant)
    return FeltLoop(
        felt_moisture_ratio=start,
        felt_moisture_after_nip=nipped,
        felt_moisture_after_shower=showered,
        felt_moisture_after_boxes=boxed,
        felt_moisture_after_uptake=formed,
        felt_moisture_after_vacuum=sucked,
        box_water=felt_grammage * (showered - boxed),
        felt_vacuum_water=felt_grammage * (formed - sucked),
        nip_drainage=nip_drainage_felt(felt_grammage, start, *sheet),
    )
