"""Wet pressing: what leaves the sheet in a nip by the decreasing-permeability model, rewet, and what it
saves.

Water is pressed through a web whose permeability falls as it gets drier; the answer depends on the press
impulse, not on the shape of the nip, unless an equilibrium moisture is given. Bulk, marking and crush
pressure are not predicted, and every set of constants is a guess until it is calibrated on the machine
(`pressing_fit`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation
from thinstock.late import brought_in
from thinstock.relations.nip_felt import contact_time_after_peak as contact_time_after_peak
from thinstock.relations.nip_felt import dryness_form_half_range as dryness_form_half_range
from thinstock.relations.nip_felt import grammage_driest as grammage_driest
from thinstock.relations.nip_felt import impulse_spent_in_felt as impulse_spent_in_felt
from thinstock.relations.nip_felt import impulse_spent_in_web as impulse_spent_in_web
from thinstock.relations.nip_felt import moisture_pressed_felt as moisture_pressed_felt
from thinstock.relations.nip_felt import pressure_weighted_roll as pressure_weighted_roll
from thinstock.relations.nip_felt import pressure_weighted_shoe as pressure_weighted_shoe
from thinstock.relations.nip_felt import rewet_at_dwell as rewet_at_dwell
from thinstock.relations.nip_felt import rewet_of_felt as rewet_of_felt
from thinstock.relations.nip_felt import specific_filtration_resistance_press as specific_filtration_resistance_press

if TYPE_CHECKING:
    from thinstock.relations.pressing_fit import NotSettled as NotSettled
    from thinstock.relations.pressing_fit import PressFit as PressFit
    from thinstock.relations.pressing_fit import fit_permeability as fit_permeability
    from thinstock.relations.pressing_fit import fit_permeability_rewet as fit_permeability_rewet
    from thinstock.relations.pressing_fit import press_fit_verdict as press_fit_verdict
    from thinstock.relations.pressing_fit import press_fits_at_exponents as press_fits_at_exponents

_LATER = dict.fromkeys(
    (
        "NotSettled",
        "PressFit",
        "fit_permeability",
        "fit_permeability_rewet",
        "press_fit_verdict",
        "press_fits_at_exponents",
    ),
    "pressing_fit",
)
"""Names of `pressing_fit`, which no run needs: brought in when the first is asked for."""


def __getattr__(name: str) -> Any:
    return brought_in(__name__, _LATER, name)


_MODEL = "decreasing permeability; equations re-derived from Darcy flow through the web"


@derived("moisture_ratio = 1/dryness - 1", where="definition", holds={"dryness": (1e-6, 1.0)})
def moisture_ratio_from_dryness(dryness: Num) -> Num:
    """Kilograms of water per kilogram of fibre in a sheet of known dryness.

    Picture: 40 % dry is 1.5 kg of water on each kilogram of fibre.
    """
    return 1.0 / dryness - 1.0


@derived("dryness = 1/(1 + moisture_ratio)", where="definition")
def dryness_from_moisture_ratio(moisture_ratio: Num) -> Num:
    """Dry share of a sheet that carries `moisture_ratio` kilograms of water per kilogram of fibre."""
    return 1.0 / (1.0 + moisture_ratio)


# --- the nip


@relation(
    """w = grammage/felted_sides
        x = max(moisture_ratio - equilibrium_moisture, 0)
        z = specific_permeability*x**permeability_exponent*press_impulse/(kinematic_viscosity*w**2)
        left = x*exp(-log1p(permeability_exponent*z)/permeability_exponent)
        moisture_ratio_pressed = min(moisture_ratio, equilibrium_moisture + left)""",
    source="KEREKES_MCDONALD_1991",
    where=_MODEL,
    status="from memory",
    holds={"permeability_exponent": (0.5, 8.0), "grammage": (0.010, 0.170)},
)
def moisture_pressed_decreasing_permeability(
    moisture_ratio: Num,
    press_impulse: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    specific_permeability: Num,
    permeability_exponent: Num,
    equilibrium_moisture: Num,
    felted_sides: Num,
) -> Num:
    """Moisture ratio at the driest point of a nip, before rewet.

    Picture: the drier the web the tighter it closes, so each further drop takes more push; what counts is
    push times time. With two felts each half drains its own way, as if the impulse were four times as large.
    Use for: tissue nips, grammage bone-dry at the press. Not for: shoe impulses above 10 kPa s or dryness
    above 48 % without an equilibrium moisture: it then promises too much. It is blind to the shape of the
    nip.
    In print: A, n and M_e lumped in the same way; no table of values is held.
    Made from: Darcy flow through a web of thickness W (M/ρ_w + 1/ρ_f), permeability lumped as A M^(n+1).
    """
    w = grammage / felted_sides
    x = np.maximum(moisture_ratio - equilibrium_moisture, 0.0)
    z = specific_permeability * x**permeability_exponent * press_impulse / (kinematic_viscosity * w**2)
    left = x * np.exp(-np.log1p(permeability_exponent * z) / permeability_exponent)
    return np.minimum(moisture_ratio, equilibrium_moisture + left)


@relation(
    """w = grammage/felted_sides
        push = permeability_exponent*specific_permeability*press_impulse
        moisture_ratio_pressed = (kinematic_viscosity*w**2/push)**(1/permeability_exponent)""",
    source="KEREKES_MCDONALD_1991",
    where="limit of much impulse, no equilibrium moisture",
    status="derived",
)
def moisture_pressed_flow_limit(
    press_impulse: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    specific_permeability: Num,
    permeability_exponent: Num,
    felted_sides: Num,
) -> Num:
    """Moisture ratio after a hard nip: the ingoing moisture no longer matters.

    Picture: whatever comes in, the last of the water has to pass the closed web.
    Use for: seeing the powers (impulse -1/n, grammage +2/n, viscosity +1/n). Not for: light nips (n z below
    20).
    """
    w = grammage / felted_sides
    push = permeability_exponent * specific_permeability * press_impulse
    return (kinematic_viscosity * w**2 / push) ** (1.0 / permeability_exponent)


@assumed(
    """ratio = nip_pressure/reference_pressure
        equilibrium_moisture = water_retention_value*ratio**(-pressure_exponent)""",
    where="power law of pressure",
    holds={"nip_pressure": (20e3, 5e6)},
)
def equilibrium_moisture_power_law(
    water_retention_value: Num, nip_pressure: Num, reference_pressure: Num, pressure_exponent: Num
) -> Num:
    """Moisture that a web would keep under this pressure at nip times, however long the flow went on.

    Picture: water inside the fibre wall lets go only under more pressure. Not a hard wall: cyclic pressing
    goes beyond it. Use for: heavier sheets and shoe nips.
    """
    return water_retention_value * (nip_pressure / reference_pressure) ** (-pressure_exponent)


class PressedProfile(NamedTuple):
    """End of a march through a nip."""

    moisture_ratio_pressed: Num
    stop_position: Num
    """Share of the nip length after which no more water left."""


@relation(
    """w = grammage/felted_sides, p = line_load/nip_width*pressure_shape
        M_e(p) = water_retention_value*(p/reference_pressure)**(-pressure_exponent)
        dM/dt = -specific_permeability*(M - M_e(p))**(permeability_exponent + 1)*p/(kinematic_viscosity*w**2)
        while M > M_e(p), through the nip in the time nip_width/speed""",
    gives=("moisture_ratio_pressed", "stop_position"),
    kind="march",
    source="KEREKES_MCDONALD_1991",
    where=_MODEL,
    status="derived",
)
def moisture_pressed_profile(
    moisture_ratio: Num,
    line_load: Num,
    speed: Num,
    nip_width: Num,
    pressure_shape: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    specific_permeability: Num,
    permeability_exponent: Num,
    water_retention_value: Num,
    reference_pressure: Num,
    pressure_exponent: Num,
    felted_sides: Num,
) -> PressedProfile:
    """Driest moisture ratio in a nip with a pressure profile, and where in the nip the water stops leaving.

    Picture: the web follows the falling equilibrium moisture as the pressure rises; once the pressure drops
    the rest of the nip does nothing. `pressure_shape` has the cells of the nip on its last axis, any mean.
    Use for: tilt and shape of shoes with an equilibrium moisture. Without one only the impulse counts.
    Each cell is one exact step of the closed form at its own pressure: stable, never wetter, never below M_e.
    """
    closed_form = moisture_pressed_decreasing_permeability.__wrapped__  # type: ignore[attr-defined]
    shape = np.asarray(pressure_shape, dtype=float)
    shape = shape / np.mean(shape, axis=-1, keepdims=True)
    cells = shape.shape[-1]
    pressure = np.asarray(line_load / nip_width)[..., None] * shape
    retained, reference, exponent = (
        np.asarray(v)[..., None] for v in (water_retention_value, reference_pressure, pressure_exponent)
    )
    pressed = pressure > 0.0
    law = retained * (np.where(pressed, pressure, reference) / reference) ** (-exponent)
    bound = np.where(pressed, law, np.inf)  # no pressure: nothing leaves
    push = np.maximum(pressure, 0.0) * np.asarray(nip_width / (speed * cells))[..., None]
    moisture, stop = moisture_ratio, np.zeros(())
    for cell in range(cells):
        drier = closed_form(
            moisture,
            push[..., cell],
            grammage,
            kinematic_viscosity,
            specific_permeability,
            permeability_exponent,
            bound[..., cell],
            felted_sides,
        )
        stop = np.where(drier < moisture, (cell + 1) / cells, stop)
        moisture = drier
    stop = np.broadcast_to(stop, np.shape(moisture)).copy()
    return PressedProfile(moisture, stop[()])


# --- rewet and what holds a nip back


@relation(
    "rewet = rewet_split + rewet_coefficient*sqrt(dwell)",
    source="REWET_2018",
    where="two terms: splitting of interface water, flow from the felt; the square root is assumed",
    status="assumed",
    holds={"dwell": (0.0, 0.020)},
)
def rewet_two_term(rewet_split: Num, rewet_coefficient: Num, dwell: Num) -> Num:
    """Water per area that goes back from felt to sheet after the peak of the pressure.

    Picture: a film between felt and sheet is torn in two at once; then the felt goes on giving back while it
    touches. `dwell` counts from the pressure peak to the end of felt contact. Sheet grammage hardly matters.
    """
    return rewet_split + rewet_coefficient * np.sqrt(dwell)


@relation(
    "moisture_ratio_out = moisture_ratio + rewet/grammage",
    source="SWEET_REWET",
    where="final moisture = minimum + coefficient × area / grammage",
    status="from memory",
)
def moisture_ratio_rewetted(moisture_ratio: Num, rewet: Num, grammage: Num) -> Num:
    """Moisture ratio after a nip: the driest value plus the rewet spread over the fibre.

    Picture: the same 5 g/m² cost a 15 g/m² sheet three times the moisture they cost a 45 g/m² sheet.
    Not capped: a result wetter than the ingoing sheet says that the rewet was taken too large.
    """
    return moisture_ratio + rewet / grammage


@derived(
    "moisture_share_flow = (moisture_ratio - equilibrium_moisture)/(moisture_ratio + rewet/grammage)",
    where="definition; the three shares add up to one",
)
def moisture_share_flow(moisture_ratio: Num, rewet: Num, grammage: Num, equilibrium_moisture: Num) -> Num:
    """Share of the outgoing moisture that more impulse, heat or a more open web could still press out.

    The first argument is the driest moisture ratio in the nip. Tells a crew what holds this nip back.
    """
    return (moisture_ratio - equilibrium_moisture) / (moisture_ratio + rewet / grammage)


@derived(
    "moisture_share_equilibrium = equilibrium_moisture/(moisture_ratio + rewet/grammage)",
    where="definition; the three shares add up to one",
)
def moisture_share_equilibrium(moisture_ratio: Num, rewet: Num, grammage: Num, equilibrium_moisture: Num) -> Num:
    """Share of the outgoing moisture that only more pressure could move."""
    return equilibrium_moisture / (moisture_ratio + rewet / grammage)


@derived(
    "moisture_share_rewet = rewet/grammage/(moisture_ratio + rewet/grammage)",
    where="definition; the three shares add up to one",
)
def moisture_share_rewet(moisture_ratio: Num, rewet: Num, grammage: Num) -> Num:
    """Share of the outgoing moisture that came back from the felt."""
    return rewet / grammage / (moisture_ratio + rewet / grammage)


# --- reading the model backwards


@relation(
    """w = grammage/felted_sides
        before = 1/dryness_in - 1 - equilibrium_moisture
        after = 1/dryness_out - 1 - rewet/grammage - equilibrium_moisture
        lost = after**(-permeability_exponent) - before**(-permeability_exponent)
        specific_permeability = lost*kinematic_viscosity*w**2/(permeability_exponent*press_impulse)""",
    source="KEREKES_MCDONALD_1991",
    where="closed form solved for A",
    status="derived",
)
def specific_permeability_from_dryness(
    dryness_in: Num,
    dryness_out: Num,
    press_impulse: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    permeability_exponent: Num,
    equilibrium_moisture: Num,
    rewet: Num,
    felted_sides: Num,
) -> Num:
    """Specific permeability that explains one measured nip. The exponent n, M_e and rewet are given.

    Not a number where no permeability can explain it: the sheet did not get drier, or rewet and equilibrium
    moisture alone are more than what was measured. Meaningless without the n, M_e and rewet it goes with.
    """
    w = grammage / felted_sides
    before = np.asarray(1.0 / dryness_in - 1.0 - equilibrium_moisture)
    after = np.asarray(1.0 / dryness_out - 1.0 - rewet / grammage - equilibrium_moisture)
    possible = (after > 0.0) & (after < before)
    with np.errstate(all="ignore"):
        lost = after ** (-permeability_exponent) - before ** (-permeability_exponent)
    found = lost * kinematic_viscosity * w**2 / (permeability_exponent * press_impulse)
    return np.where(possible, found, np.nan)[()]


# --- what it is worth further on


@derived("water_flow_per_width = speed*grammage*(moisture_ratio_in - moisture_ratio_out)", where="balance")
def water_pressed_out(speed: Num, grammage: Num, moisture_ratio_in: Num, moisture_ratio_out: Num) -> Num:
    """Water that leaves the sheet in a nip, per metre of width."""
    return speed * grammage * (moisture_ratio_in - moisture_ratio_out)


@derived("water_per_fibre = 1/dryness_in - 1/dryness_out", where="balance")
def evaporation_per_fibre(dryness_in: Num, dryness_out: Num) -> Num:
    """Water taken out between two drynesses, per kilogram of fibre.

    Picture: from 40 to 94 % a dryer has to take 1.44 kg from each kilogram of fibre.
    Use for: any part of the machine, wire, press or dryer.
    """
    return 1.0 / dryness_in - 1.0 / dryness_out


@derived(
    """earlier = 1/dryness_before - 1/reel_dryness
        later = 1/dryness_after - 1/reel_dryness
        drying_load_change = later/earlier - 1""",
    where="balance",
)
def drying_load_change(dryness_before: Num, dryness_after: Num, reel_dryness: Num) -> Num:
    """Change of the water the dryer must take when the press leaves the sheet drier; negative = less.

    Picture: one point of dryness is worth about 4 % of the drying, but that is arithmetic, not a constant.
    Not for: speed; a dryer-limited machine may gain -c/(1+c) at most (`economics.speed_gain_dryer_limited`).
    """
    earlier = 1.0 / dryness_before - 1.0 / reel_dryness
    later = 1.0 / dryness_after - 1.0 / reel_dryness
    return later / earlier - 1.0
