"""What a circuit is refused for: shares that cannot be, and more of a water asked for than there is."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Fault, KernelRefused
from thinstock.formula.label import Num
from thinstock.relations.circuit_flows import WATERS, Flows, TissueCircuit, asked_of, shower_parts
from thinstock.words.fault import fault_in

SHARES = (
    "reject_recovered", "seal_recovered", "vacuum_recovered", "felt_recovered", "recovery", "cloudy_ratio",
    "press_loss", "broke_share", "reject_share",
)  # fmt: skip
BELOW_ONE = ("press_loss", "reject_share")
WHOLE = (
    "retention", "jet_consistency", "thick_consistency", "forming_dryness", "vacuum_dryness", "press_dryness",
    "reel_dryness", "pulp_dryness", "broke_consistency", "recovered_consistency",
)  # fmt: skip
POSITIVE = ("seal_water", "chemical_water", "dissolved_per_fibre", "fresh_dissolved", "cloudy_ratio")
FIELD = {"silo": "wire_shower", "felt": "felt_shower", "pit": "pit_shower"}


def _said(value: Num) -> str:
    return f"{float(np.max(np.abs(np.asarray(value, dtype=float)))):.4g}"


def _ends(value: Num) -> tuple[float, float]:
    """Least and most of all cases and components."""
    if isinstance(value, float):
        return value, value
    return float(value.min()), float(value.max())


FEWEST = 8
"""Fewer numbers in a row may belong to the components of one case."""


class _Found:
    """Faults, and which of many cases have them."""

    def __init__(self, given: TissueCircuit) -> None:
        self.faults: list[Fault] = []
        shapes = (np.shape(getattr(given, field)) for field in (*WHOLE, *SHARES, *POSITIVE))
        self.shape = next((shape for shape in shapes if len(shape) == 1 and shape[0] > FEWEST), ())
        self.cases = np.zeros(self.shape, dtype=bool)
        self.known = self.shape != ()

    def add(self, fault: Fault, wrong: Num = None) -> None:
        """A fault, and where it is; everywhere, or nobody knows, where that is not one flag a case."""
        self.faults.append(fault)
        where: NDArray[Any] = np.asarray(wrong)
        if where.ndim == 2:
            where = np.asarray(where.any(axis=-1))
        if self.known and where.shape == self.shape:
            self.cases |= where
        else:
            self.known = False

    def refuse(self, cause: str) -> None:
        """Refuse what was found, if anything."""
        if self.faults:
            refused = KernelRefused(cause, self.faults)
            refused.cases = self.cases if self.known else None
            raise refused


def refuse_given(given: TissueCircuit) -> None:
    """Everything that cannot be, before anything is worked out."""
    found = _Found(given)
    for field in SHARES:
        value = getattr(given, field)
        low, high = _ends(value)
        most = np.inf if field == "cloudy_ratio" else 1.0
        if low < 0.0 or high > most or (field in BELOW_ONE and high >= 1.0):
            wrong = (value < 0.0) | (value > most) | ((field in BELOW_ONE) & (value >= 1.0))
            found.add(fault_in("circuits.share", field, str(value)), wrong)
    for field in WHOLE:
        value = getattr(given, field)
        low, high = _ends(value)
        if not (low > 0.0 and high <= 1.0):
            found.add(fault_in("circuits.part", field, str(value)), ~((value > 0.0) & (value <= 1.0)))
    for field in POSITIVE:
        value = getattr(given, field)
        if _ends(value)[0] < 0.0:
            found.add(fault_in("circuits.positive", field, str(value)), value < 0.0)
    for place, parts in shower_parts(given).items():
        if any(_ends(part)[0] < 0.0 for part in parts.values()):
            found.add(fault_in("circuits.positive", FIELD[place], str(getattr(given, FIELD[place]))))
        for water in ("clear", "cloudy"):
            if not given.saveall and _ends(parts[water])[1] > 0.0:
                found.add(fault_in("circuits.no_saveall", FIELD[place], _said(parts[water]), water=water))
    thinning = given.dilution_water
    if thinning not in WATERS:
        found.add(fault_in("circuits.water", "dilution_water", repr(thinning), waters=", ".join(WATERS)))
    elif not given.saveall and thinning in ("clear", "cloudy"):
        found.add(fault_in("circuits.no_saveall", "dilution_water", thinning, water=thinning))
    found.refuse("given")


def _asker(given: TissueCircuit, water: str) -> str:
    """The field that asks most of a water."""
    asked = {FIELD[place]: float(np.max(parts[water])) for place, parts in shower_parts(given).items()}
    most = max(asked, key=lambda field: asked[field])
    return most if asked[most] > 0.0 else "dilution_water"


def refuse_flows(given: TissueCircuit, f: Flows, pit: Num) -> None:
    """More asked for than there is, by the flows found."""
    found = _Found(given)
    thinned = f.dilution[given.dilution_water]
    if np.any(np.asarray(given.broke_share) > 0.0) and np.any(pit >= np.asarray(given.broke_consistency)):
        fault = fault_in("circuits.broke", "broke_consistency", _said(given.broke_consistency), pit=_said(pit))
        found.add(fault, pit >= np.asarray(given.broke_consistency))
    if np.any(thinned < 0.0):
        more = _said(np.min(thinned))
        found.add(fault_in("circuits.wet_stock", "pulp_dryness", _said(given.pulp_dryness), more=more), thinned < 0.0)
    missing = {"white": np.minimum(f.rest, 0.0), "cloudy": 0.0, "clear": 0.0}
    if given.saveall:
        missing["cloudy"] = np.minimum(f.rest - f.recovered - f.cloudy, 0.0)
        missing["clear"] = np.minimum(f.effluent, 0.0) if np.all(missing["cloudy"] == 0.0) else 0.0
    for water, lack in missing.items():
        if np.any(np.asarray(lack) < 0.0):
            field, asked = _asker(given, water), asked_of(shower_parts(given), water) + f.dilution[water]
            fault = fault_in("circuits.short", field, _said(asked), water=water, more=_said(np.min(lack)))
            found.add(fault, lack < 0.0)
    found.refuse("water")
