"""What hangs together by definition: the press permeability follows the rewet that is drawn with it.

The permeability of the press model is worked out from one pressed sheet. A draw with another rewet needs another
permeability for that sheet to come out as dry; the factor that is drawn is the factor on that permeability. So the
sheet behind the model keeps its dryness in every draw, whatever share and rewet are drawn.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from thinstock.evidence.links import rewet_addresses
from thinstock.formula.label import Array, Num, worksheet
from thinstock.machine.line import Machine
from thinstock.machine.press_law import anchored_ratio
from thinstock.words.quantity import Q

FACTOR = "press.dewatering.permeability_factor"
SHARE = "press.dewatering.equilibrium_share"


def rewet_address(machine: Machine) -> str:
    """Address of the rewet of the last nip."""
    return rewet_addresses(machine)[-1]


def anchored(machine: Machine) -> bool:
    """Whether the permeability factor stands on the model's own sheet, and not on what a mill found."""
    given = machine.given.get(FACTOR)
    own = given is not None and (given.uncertainty is not None or given.status in ("measured", "calibrated"))
    return machine.press.dewatering.specific_permeability is None and not own


def coupled(machine: Machine, values: Mapping[str, Array], base: float) -> dict[str, Array]:
    """The values of draws with the permeability factor as the machine takes it; `base` is the rewet it belongs to."""
    where = rewet_address(machine)
    if FACTOR not in values or where not in values:
        return dict(values)
    about = machine.declaration(FACTOR).about
    assert isinstance(about, Q)
    low, high = about.possible
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        found = np.nan_to_num(np.asarray(values[FACTOR] * ratio(machine, values, base)), nan=high)
    return {**values, FACTOR: np.clip(found, low, high)}


def ratio(machine: Machine, values: Mapping[str, Num], base: float) -> Num:
    """By how much the permeability must differ for the sheet behind the model to keep its dryness."""
    if not base > 0.0:
        return 1.0
    share = values.get(SHARE, np.asarray(float(machine.press.dewatering.equilibrium_share)))
    with worksheet(False):
        return anchored_ratio(machine.press.dewatering, share, np.asarray(values[rewet_address(machine)]) / base)


def as_filed(machine: Machine, base: float) -> float:
    """The same at the values of the machine itself."""
    where = rewet_address(machine)
    return float(ratio(machine, {where: np.asarray(float(machine.get(where)))}, base))
