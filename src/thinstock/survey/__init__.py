"""Do the mill's measurements agree with each other, which are doubtful, and what follows from them?

The table of readings, the network of streams, reconciliation with its tests, and calibration. Names are loaded
when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "table": ("Reading", "Survey", "read_survey", "write_survey"),
    "faults": ("NotConverged", "SurveyError"),
    "reconciled": ("Reconciled",),
    "linear": ("classify", "reconcile_linear"),
    "network": ("Network", "network_from_streams", "read_network"),
    "balance": ("Reconciliation", "reconcile"),
    "bilinear": ("reconcile_bilinear",),
    "nonlinear": ("reconcile_nonlinear",),
    "bounded": ("reconcile_bounded",),
    "robust": ("reconcile_robust_huber",),
    "suspects": (
        "CulpritSet",
        "critical_score",
        "culprit_readings",
        "culprit_sets",
        "leak_test",
        "serial_elimination",
        "smallest_detectable_bias",
    ),
    "planning": ("MeasurementValue", "ReadingValue", "detectable_errors", "value_of_measurement", "value_of_reading"),
    "steady": ("mean_uncertainty_batches", "steady_probability_von_neumann", "von_neumann_ratio"),
    "machine_network": ("MachineNetwork", "network_of_machine"),
    "heat_balance": ("HeatBalance", "evaporation_by_heat"),
    "round": ("Round", "read_round"),
    "findings": ("Findings", "findings_of"),
    "change": ("Change", "changes", "cross_covariance"),
    "typical": ("Typical", "typical_uncertainties"),
    "calibration": ("Fit", "Profile", "fit", "profile"),
}
_HOME = {name: module for module, names in _HOMES.items() for name in names}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOME])
