"""Calibration of the press model: specific permeability and rewet of one nip from trials with a grammage
step.

The permeability exponent is given, never fitted; the rewet found belongs to that exponent and to no other.
Without a step in grammage permeability and rewet cannot be told apart, and the fit refuses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from thinstock.errors import Fault, Refused, Unsettled
from thinstock.formula.label import Array, Num, derived

LEAST_TRIALS = 4
LEAST_GRAMMAGE_STEP = 1.30
REWET_DOUBT = 2e-3  # kg/m²; given rewet is tried this much lower and higher
STARTS = np.linspace(np.log(1e-18), np.log(1e-9), 121)
MOST_STEPS = 200
WIDEST = (np.log(1e-24), np.log(1e-3))


class PressFit(NamedTuple):
    """What trials say about a nip. Use permeability and rewet only together: their errors are tied to each
    other.
    """

    specific_permeability: float
    rewet: float
    ln_deviation: float
    """Standard deviation of ln(specific_permeability)."""
    rewet_deviation: float
    correlation: float
    chi_square: float
    degrees_of_freedom: int
    residuals: Array
    """Observed less modelled dryness, per trial."""
    grammage_step: float
    rewet_at_bound: bool
    """The data wanted a negative rewet; it was held at zero."""
    permeability_exponent: float
    equilibrium_moisture: Num
    specific_permeability_low: float
    """With the given rewet 2 g/m² lower; not a number where rewet was fitted."""
    specific_permeability_high: float

    def covariance(self) -> Array:
        """Joint covariance of (ln specific_permeability, rewet), for predictions."""
        cross = self.correlation * self.ln_deviation * self.rewet_deviation
        return np.array([[self.ln_deviation**2, cross], [cross, self.rewet_deviation**2]])


class NotSettled(Unsettled):
    """The fit did not come to rest; `best` holds (specific_permeability, rewet) as far as it got."""

    def __init__(self, specific_permeability: float, rewet: float) -> None:
        self.best = (specific_permeability, rewet)
        super().__init__(
            f"the fit did not settle; best so far: specific permeability {specific_permeability:.4g} kg/m, "
            f"rewet {1e3 * rewet:.3g} g/m²"
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trials:
    """Checked trials, one row each."""

    x_in: Array  # ingoing moisture above equilibrium
    dryness: Array
    deviation: Array
    grammage: Array
    push: Array  # press_impulse / (ν w²), w per felted side
    exponent: float
    equilibrium: Array

    def pressed(self, ln_permeability: Num) -> tuple[Array, Array]:
        """Driest moisture ratio and its slope by ln(specific_permeability)."""
        z = np.exp(ln_permeability) * self.x_in**self.exponent * self.push
        left = self.x_in * np.exp(-np.log1p(self.exponent * z) / self.exponent)
        return self.equilibrium + left, -left * z / (1.0 + self.exponent * z)

    def misfit(self, ln_permeability: float, rewet: float) -> tuple[Array, Array]:
        """Scaled residuals (observed less model) and their model's Jacobian by ln(A) and rewet."""
        moisture, slope = self.pressed(ln_permeability)
        dryness = 1.0 / (1.0 + moisture + rewet / self.grammage)
        fall = -(dryness**2) / self.deviation
        jacobian = np.stack([fall * slope, fall / self.grammage], axis=-1)
        return (self.dryness - dryness) / self.deviation, jacobian


def _refusals(
    dryness_in: Array, dryness_out: Array, deviation: Array, exponent: Num, equilibrium: Array
) -> list[Fault]:
    faults = []
    if exponent is None or not np.all(np.isfinite(exponent)) or not np.all(np.asarray(exponent) > 0.0):
        faults.append(
            Fault(
                field="permeability_exponent",
                value=str(exponent),
                bound="a number above 0",
                remedy="Give the exponent (3 for tissue, assumed); it is never fitted.",
            )
        )
    rows: tuple[tuple[str, Array, Num, str, str], ...] = (
        (
            "dryness_deviation",
            deviation,
            ~(deviation > 0.0),
            "above 0",
            "Give the standard deviation of the mean of at least five samples.",
        ),
        (
            "dryness_out",
            dryness_out,
            ~(dryness_out > dryness_in),
            "above dryness_in",
            "Samples swapped, or taken from two different runs?",
        ),
        (
            "dryness_out",
            dryness_out,
            ~(1.0 / dryness_out - 1.0 > equilibrium),
            "moisture ratio after the nip above equilibrium_moisture",
            "Lower the equilibrium moisture; the sheet got drier than it allows.",
        ),
    )
    for field, given, wrong, bound, remedy in rows:
        for row in np.flatnonzero(wrong):
            faults.append(Fault(field=f"{field}[{row}]", value=f"{given[row]:.6g}", bound=bound, remedy=remedy))
    return faults


def _grammage_faults(grammage: Array) -> list[Fault]:
    step = float(grammage.max() / grammage.min())
    faults = []
    if grammage.size < LEAST_TRIALS:
        faults.append(
            Fault(
                field="trials",
                value=str(grammage.size),
                bound=f"at least {LEAST_TRIALS}",
                remedy="Run more steady conditions, or give rewet and use fit_permeability.",
            )
        )
    if step < LEAST_GRAMMAGE_STEP - 1e-9:
        faults.append(
            Fault(
                field="grammage",
                value=f"step {step:.3f}",
                bound=f"largest/smallest at least {LEAST_GRAMMAGE_STEP:.2f}",
                remedy=(
                    "no grammage step: A and rewet trade off; run one ≥1.5 × heavier or lighter grade at the "
                    "same load and speed, or give rewet and use fit_permeability"
                ),
            )
        )
    return faults


_COLUMNS = (
    "dryness_in", "dryness_out", "press_impulse", "grammage", "kinematic_viscosity", "dryness_deviation",
    "equilibrium_moisture", "felted_sides",
)  # fmt: skip


def _trials(given: Mapping[str, Num], *, needs_step: bool) -> _Trials:
    """The trials as rows, from the arguments of a fit by name."""
    columns = [given[name] for name in _COLUMNS]
    permeability_exponent = given["permeability_exponent"]
    arrays = np.broadcast_arrays(*(np.atleast_1d(np.asarray(c, dtype=float)) for c in columns))
    before, after, impulse, fibre, viscosity, deviation, equilibrium, sides = arrays
    faults = _refusals(before, after, deviation, permeability_exponent, equilibrium)
    if needs_step:
        faults += _grammage_faults(fibre)
    if faults:
        raise Refused(faults)
    return _Trials(
        x_in=1.0 / before - 1.0 - equilibrium,
        dryness=after,
        deviation=deviation,
        grammage=fibre,
        push=impulse / (viscosity * (fibre / sides) ** 2),
        exponent=float(permeability_exponent),
        equilibrium=equilibrium,
    )


def _start(trials: _Trials, rewet: float | None) -> tuple[float, float]:
    """The best of a ladder of permeabilities, each with its own best rewet (linear) or the given one."""
    best = (np.inf, 0.0, 0.0)
    weight = (trials.dryness**2 / trials.deviation) ** 2
    for ln_permeability in STARTS:
        water = rewet
        if water is None:
            spare = 1.0 / trials.dryness - 1.0 - trials.pressed(ln_permeability)[0]
            best_water = np.sum(weight * spare / trials.grammage) / np.sum(weight / trials.grammage**2)
            water = max(float(best_water), 0.0)
        cost = float(np.sum(trials.misfit(ln_permeability, water)[0] ** 2))
        if cost < best[0]:
            best = (cost, float(ln_permeability), water)
    return best[1], best[2]


def _settle(trials: _Trials, start: tuple[float, float], *, fit_rewet: bool) -> tuple[float, float]:
    """Damped Gauss-Newton from a start, by ln(permeability) and, if asked, rewet."""
    point = np.array(start)
    free = slice(0, 2 if fit_rewet else 1)
    residual, jacobian = trials.misfit(*point)
    cost, damping = float(residual @ residual), 1e-3
    for _ in range(MOST_STEPS):
        columns = jacobian[:, free]
        scale = np.linalg.norm(columns, axis=0)
        scale = np.where(scale > 0.0, scale, 1.0)
        columns = columns / scale
        normal = columns.T @ columns + damping * np.eye(columns.shape[1])
        move = np.zeros(2)
        move[free] = np.linalg.solve(normal, columns.T @ residual) / scale
        if not WIDEST[0] < point[0] + move[0] < WIDEST[1]:
            break  # the trials ask for a permeability without end
        new_residual, new_jacobian = trials.misfit(*(point + move))
        new_cost = float(new_residual @ new_residual)
        if new_cost <= cost * (1.0 + 1e-14):
            point, residual, jacobian, cost = point + move, new_residual, new_jacobian, new_cost
            damping /= 5.0
        else:
            damping *= 5.0
        if abs(move[0]) < 1e-9 and abs(move[1]) < 1e-12:
            return float(point[0]), float(point[1])
    raise NotSettled(float(np.exp(point[0])), float(point[1]))


def _result(
    trials: _Trials,
    ln_permeability: float,
    rewet: float,
    *,
    fitted_rewet: bool,
    at_bound: bool,
    equilibrium_moisture: Num,
    low: float = np.nan,
    high: float = np.nan,
) -> PressFit:
    residual, jacobian = trials.misfit(ln_permeability, rewet)
    columns = jacobian if fitted_rewet else jacobian[:, :1]
    freedom = residual.size - columns.shape[1]
    chi_square = float(residual @ residual)
    covariance = np.linalg.inv(columns.T @ columns) * max(1.0, chi_square / freedom if freedom > 0 else 1.0)
    ln_deviation = float(np.sqrt(covariance[0, 0]))
    rewet_deviation = float(np.sqrt(covariance[1, 1])) if fitted_rewet else np.nan
    correlation = float(covariance[0, 1]) / (ln_deviation * rewet_deviation) if fitted_rewet else np.nan
    return PressFit(
        specific_permeability=float(np.exp(ln_permeability)),
        rewet=rewet,
        ln_deviation=ln_deviation,
        rewet_deviation=rewet_deviation,
        correlation=correlation,
        chi_square=chi_square,
        degrees_of_freedom=freedom,
        residuals=residual * trials.deviation,
        grammage_step=float(trials.grammage.max() / trials.grammage.min()),
        rewet_at_bound=at_bound,
        permeability_exponent=trials.exponent,
        equilibrium_moisture=equilibrium_moisture,
        specific_permeability_low=low,
        specific_permeability_high=high,
    )


_MODEL_TEXT = """x = 1/dryness_in - 1 - equilibrium_moisture, w = grammage/felted_sides
        z = specific_permeability*x**permeability_exponent*press_impulse/(kinematic_viscosity*w**2)
        M = equilibrium_moisture + x*(1 + permeability_exponent*z)**(-1/permeability_exponent)
        """


@derived(
    _MODEL_TEXT
    + """least sum over trials of ((1/(1 + M + rewet/grammage) - dryness_out)/dryness_deviation)**2
        by ln(specific_permeability) and rewet >= 0""",
    gives=PressFit._fields,
    kind="march",
    where="weighted least squares, damped Gauss-Newton",
)
def fit_permeability_rewet(
    dryness_in: Num,
    dryness_out: Num,
    press_impulse: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    dryness_deviation: Num,
    permeability_exponent: Num,
    equilibrium_moisture: Num,
    felted_sides: Num,
) -> PressFit:
    """Specific permeability and rewet of a nip from at least four trials with a grammage step.

    Picture: rewet hurts a light sheet more than a heavy one; impulse does not care. The step tells them
    apart.
    Use for: one row per steady condition of twenty minutes or more, the same furnish, felt, nip and exponent
    in all. Not for: carrying the rewet found here to another exponent, and not without the joint covariance.
    Refuses fewer than four trials and a grammage step below 1.3.
    """
    trials = _trials(locals(), needs_step=True)
    ln_permeability, rewet = _settle(trials, _start(trials, None), fit_rewet=True)
    at_bound = rewet < 0.0
    if at_bound:
        ln_permeability, rewet = _settle(trials, _start(trials, 0.0), fit_rewet=False)
    return _result(
        trials,
        ln_permeability,
        rewet,
        fitted_rewet=not at_bound,
        at_bound=at_bound,
        equilibrium_moisture=equilibrium_moisture,
    )


@derived(
    _MODEL_TEXT
    + """least sum over trials of ((1/(1 + M + rewet/grammage) - dryness_out)/dryness_deviation)**2
        by ln(specific_permeability) alone""",
    gives=PressFit._fields,
    kind="march",
    where="weighted least squares, damped Gauss-Newton",
)
def fit_permeability(
    dryness_in: Num,
    dryness_out: Num,
    press_impulse: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    dryness_deviation: Num,
    permeability_exponent: Num,
    equilibrium_moisture: Num,
    felted_sides: Num,
    rewet: Num,
) -> PressFit:
    """Specific permeability of a nip from one or more trials when the rewet is given.

    Picture: with the rewet taken for granted one honest dryness after the press fixes the permeability.
    Use for: a first calibration without a grammage step. `specific_permeability_low` and `_high` are the
    answers with 2 g/m² less and more rewet: that is how far the assumed rewet carries into the result.
    """
    trials = _trials(locals(), needs_step=False)
    given = float(rewet)

    def found(water: float) -> float:
        if not np.any(1.0 / trials.dryness - 1.0 - water / trials.grammage > trials.equilibrium):
            return float("nan")  # this much rewet alone leaves the sheet wetter than every trial
        return _settle(trials, _start(trials, water), fit_rewet=False)[0]

    def doubted(water: float) -> float:
        try:
            return float(np.exp(found(water)))
        except NotSettled:
            return float("nan")

    ln_permeability = found(given)
    if np.isnan(ln_permeability):
        raise Refused(
            Fault(
                field="rewet",
                value=f"{1e3 * given:.3g} g/m²",
                bound="less water than the sheet carries after the nip",
                remedy="Give a smaller rewet or check the grammage (bone-dry at the press).",
            )
        )
    return _result(
        trials,
        ln_permeability,
        given,
        fitted_rewet=False,
        at_bound=False,
        equilibrium_moisture=equilibrium_moisture,
        low=doubted(max(given - REWET_DOUBT, 0.0)),
        high=doubted(given + REWET_DOUBT),
    )


def press_fits_at_exponents(permeability_exponent: float, **trials: Num) -> tuple[PressFit, PressFit, PressFit]:
    """The fit at the exponent half lower, as given and half higher: how far the rewet moves with the exponent.

    `trials`: the other arguments of `fit_permeability_rewet`.
    """
    lower, given, higher = (
        fit_permeability_rewet(permeability_exponent=permeability_exponent + shift, **trials)
        for shift in (-0.5, 0.0, 0.5)
    )
    return lower, given, higher


def press_fit_verdict(fit: PressFit, dryness_deviation: Num) -> str:
    """In words: whether the rewet of a fit can be used, and which trials stand out."""
    if fit.rewet_at_bound:
        lines = ["rewet: not identified; the trials asked for less than none, it was held at 0"]
    elif not np.isfinite(fit.rewet_deviation):
        lines = [
            f"rewet: {1e3 * fit.rewet:.1f} g/m² as given, not fitted; specific permeability "
            f"{fit.specific_permeability_low:.3g} kg/m with 2 g/m² less, "
            f"{fit.specific_permeability_high:.3g} kg/m with 2 g/m² more"
        ]
    else:
        doubt = 1e3 * fit.rewet_deviation
        if doubt <= 1.0:
            word = "usable"
        elif doubt <= 2.0:
            word = "weak"
        else:
            word = "not identified: use A and R only together, near the trials"
        lines = [f"rewet: {1e3 * fit.rewet:.1f} ± {doubt:.1f} g/m² (one standard deviation), {word}"]
    lines.append(
        f"rewet and permeability hold for exponent {fit.permeability_exponent:g} only; do not carry them to another"
    )
    deviation = np.broadcast_to(np.asarray(dryness_deviation, dtype=float), fit.residuals.shape)
    for row in np.flatnonzero(np.abs(fit.residuals) > 3.0 * deviation):
        lines.append(
            f"trial {row + 1}: {100.0 * fit.residuals[row]:+.2f} points from the model, "
            f"more than three standard deviations ({100.0 * deviation[row]:.2f} points each); kept in the fit"
        )
    return "\n".join(lines)
