"""Do the mill's measurements agree with each other, which are doubtful, and what follows from them?

The table of readings, the network of streams, reconciliation with its tests, and calibration. Names are loaded
when they are first used, so that importing the package costs nothing. The package itself can be called:
`thinstock.survey("readings.csv", machine)`.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from types import ModuleType
from typing import TYPE_CHECKING, Any

from thinstock.late import brought_in

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.survey.findings import Findings

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
    "power": (
        "noncentrality_for",
        "power_global",
        "power_largest",
        "separation",
        "smallest_error_found",
        "suspect_odds",
        "suspect_set",
    ),
    "drift": ("Drift", "Drifts", "drift_of"),
    "change_tests": ("joint_change", "step_down_change"),
    "historian": ("Series", "read_files", "read_series"),
    "windows": ("Window", "Windows", "find_windows"),
    "window_change": ("Compared", "compare_windows"),
    "series": (
        "autocorrelation",
        "cautious",
        "change_of_means",
        "effective_size",
        "mean_of_window",
        "random_walk",
        "random_walk_mixed",
        "trend_test",
        "usual_walk",
        "walk_size",
    ),
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
    return brought_in(__name__, _HOME, name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOME])


class _Callable(ModuleType):
    """A package that is also the public function of its name."""

    def __call__(self, table: str | os.PathLike[str], machine: Machine, *, without: Iterable[str] = ()) -> Findings:
        """Do the readings of one round agree, which are doubtful, and what should be read next?

        Parameters
        ----------
        table : str or path
            A CSV, XLSX or Parquet file of readings, or the name of a bundled survey.
        machine : Machine
            The machine the readings were taken on, one case.
        without : iterable of str
            Readings to set aside, by their number or as "jet flow".

        Returns
        -------
        Findings
            Readings and reconciled values in base SI with their standard uncertainties, tests, and whom to doubt.

        Raises
        ------
        Refused
            Everything wrong with the table at once, or a balance that does not settle.

        Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
        """
        from thinstock.survey.findings import findings_of
        from thinstock.survey.round import read_round

        return findings_of(read_round(table, machine), without=without)


sys.modules[__name__].__class__ = _Callable
