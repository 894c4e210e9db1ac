"""How well the two levels of the drying calculation can be told from observations.

The march itself lives with the compiled kernels; here is only the information that observations carry on the
contact level (both contact coefficients) and the hood factor (heat and mass coefficients of the hood).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from thinstock.formula.label import Num, derived

ONE_COMBINATION = (
    "final dryness fixes only one combination; give steam or condensate flow, or gas flow with "
    "exhaust humidity, or the surface temperature; or hold one level"
)


class CalibrationInformation(NamedTuple):
    """Standard deviations of the logarithms of both levels, and their correlation."""

    contact_level_deviation: Any
    hood_factor_deviation: Any
    level_correlation: Any


@derived(
    """a = sensitivities/standard_deviations
        c = inverse(transposed(a) a)
        contact_level_deviation = sqrt(c_11)
        hood_factor_deviation = sqrt(c_22)
        level_correlation = c_12/sqrt(c_11*c_22)""",
    gives=("contact_level_deviation", "hood_factor_deviation", "level_correlation"),
    kind="march",
    where="linear propagation of independent errors",
)
def calibration_information(sensitivities: Num, standard_deviations: Num) -> CalibrationInformation:
    """How sharply observations fix contact level and hood factor.

    Picture: two knobs and a few gauges; each gauge is a line in the plane of the knobs, and lines that run
    alike do not cross sharply. Use for: choosing what to measure; beyond a correlation of 0.98 the fit is
    weak. Not for: errors that observations share. In print: least squares. Made from: rows are observations,
    columns the change per unit of ln contact level and ln hood factor; refused when the rows fix one
    combination only.
    """
    j = np.asarray(sensitivities, dtype=float)
    deviations = np.asarray(standard_deviations, dtype=float)
    if j.ndim != 2 or j.shape[-1] != 2 or j.shape[0] < 2:
        raise ValueError(ONE_COMBINATION)
    a = j / deviations[:, np.newaxis]
    singular = np.linalg.svd(a, compute_uv=False)
    if not singular[-1] >= 1e-6 * singular[0]:
        raise ValueError(ONE_COMBINATION)
    covariance = np.linalg.inv(a.T @ a)
    contact, hood = np.sqrt(covariance[0, 0]), np.sqrt(covariance[1, 1])
    return CalibrationInformation(contact, hood, covariance[0, 1] / (contact * hood))
