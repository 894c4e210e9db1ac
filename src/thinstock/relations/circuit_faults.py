"""What a circuit is refused for: shares that cannot be, and more of a water asked for than there is."""

from __future__ import annotations

import numpy as np

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


def refuse_given(given: TissueCircuit) -> None:
    """Everything that cannot be, before anything is worked out."""
    faults: list[Fault] = []
    for field in SHARES:
        low, high = _ends(getattr(given, field))
        if low < 0.0 or (high > 1.0 and field != "cloudy_ratio") or (field in BELOW_ONE and high >= 1.0):
            faults.append(fault_in("circuits.share", field, str(getattr(given, field))))
    for field in WHOLE:
        low, high = _ends(getattr(given, field))
        if not (low > 0.0 and high <= 1.0):
            faults.append(fault_in("circuits.part", field, str(getattr(given, field))))
    for field in POSITIVE:
        if _ends(getattr(given, field))[0] < 0.0:
            faults.append(fault_in("circuits.positive", field, str(getattr(given, field))))
    for place, parts in shower_parts(given).items():
        if any(_ends(part)[0] < 0.0 for part in parts.values()):
            faults.append(fault_in("circuits.positive", FIELD[place], str(getattr(given, FIELD[place]))))
        faults += [
            fault_in("circuits.no_saveall", FIELD[place], _said(parts[water]), water=water)
            for water in ("clear", "cloudy")
            if not given.saveall and _ends(parts[water])[1] > 0.0
        ]
    thinning = given.dilution_water
    if thinning not in WATERS:
        faults.append(fault_in("circuits.water", "dilution_water", repr(thinning), waters=", ".join(WATERS)))
    elif not given.saveall and thinning in ("clear", "cloudy"):
        faults.append(fault_in("circuits.no_saveall", "dilution_water", thinning, water=thinning))
    if faults:
        raise KernelRefused("given", faults)


def _asker(given: TissueCircuit, water: str) -> str:
    """The field that asks most of a water."""
    asked = {FIELD[place]: float(np.max(parts[water])) for place, parts in shower_parts(given).items()}
    most = max(asked, key=lambda field: asked[field])
    return most if asked[most] > 0.0 else "dilution_water"


def refuse_flows(given: TissueCircuit, f: Flows, pit: Num) -> None:
    """More asked for than there is, by the flows found."""
    faults: list[Fault] = []
    thinned = f.dilution[given.dilution_water]
    if np.any(np.asarray(given.broke_share) > 0.0) and np.any(pit >= np.asarray(given.broke_consistency)):
        faults.append(fault_in("circuits.broke", "broke_consistency", _said(given.broke_consistency), pit=_said(pit)))
    if np.any(thinned < 0.0):
        more = _said(np.min(thinned))
        faults.append(fault_in("circuits.wet_stock", "pulp_dryness", _said(given.pulp_dryness), more=more))
    missing = {"white": np.minimum(f.rest, 0.0), "cloudy": 0.0, "clear": 0.0}
    if given.saveall:
        missing["cloudy"] = np.minimum(f.rest - f.recovered - f.cloudy, 0.0)
        missing["clear"] = np.minimum(f.effluent, 0.0) if np.all(missing["cloudy"] == 0.0) else 0.0
    for water, lack in missing.items():
        if np.any(np.asarray(lack) < 0.0):
            field, asked = _asker(given, water), asked_of(shower_parts(given), water) + f.dilution[water]
            faults.append(fault_in("circuits.short", field, _said(asked), water=water, more=_said(np.min(lack))))
    if faults:
        raise KernelRefused("water", faults)
