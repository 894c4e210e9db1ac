"""The nip with its felt: pressure that counts, water through web and felt, what comes back, and how sure the form is.

Web and felt stand in series: the impulse is spent on both. Filtration and pressing are one equation, so the web's
resistance in the nip can be set beside that of its mat. Felt roughness, crushing and air through a drilled nip are
not in here.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation

_MODEL = "decreasing permeability, web and felt in series"
_STEPS = 8
"""Newton steps at most: the error is below 1e-14 for A 1e-14 to 3e-13 kg/m, n 1 to 4, R 3e7 to 3e10 1/m."""


# --- pressure that counts for the equilibrium moisture


@derived(
    """a = 4/pi; b = 1.5; c = 1.875
        first = 32/(3*pi**2)*(peak_ratio - b)*(peak_ratio - c)/((a - b)*(a - c))
        second = 1.2*(peak_ratio - a)*(peak_ratio - c)/((b - a)*(b - c))
        third = 10/7*(peak_ratio - a)*(peak_ratio - b)/((c - a)*(c - b))
        pressure_weighted = nip_pressure*(first + second + third)""",
    where="parabola through the exact values for ellipse, parabola and quartic",
    holds={"peak_ratio": (1.27, 1.88)},
)
def pressure_weighted_roll(nip_pressure: Num, peak_ratio: Num) -> Num:
    """Pressure of a roll nip weighted by itself: integral of p² over integral of p.

    Picture: water leaves while the push is on, so the push at that time counts. Use for: the equilibrium moisture in
    the closed form. Not for: shoes. In print: nothing. Made from: 32/(3π²), 6/5 and 10/7 of the mean for peaks of
    4/π, 3/2 and 15/8.
    """
    a, b, c = 4.0 / np.pi, 1.5, 1.875
    first = 32.0 / (3.0 * np.pi**2) * (peak_ratio - b) * (peak_ratio - c) / ((a - b) * (a - c))
    second = 1.2 * (peak_ratio - a) * (peak_ratio - c) / ((b - a) * (b - c))
    third = 10.0 / 7.0 * (peak_ratio - a) * (peak_ratio - b) / ((c - a) * (c - b))
    return nip_pressure * (first + second + third)


@derived(
    """power = peak_position/(1/peak_ratio - (1 - peak_position)/2) - 1
        shape = peak_ratio**2*(peak_position/(2*power + 1) + (1 - peak_position)/3)
        pressure_weighted = nip_pressure*shape""",
    where="integral of the ramp and release of nip.profile_shoe",
    holds={"peak_position": (0.5, 0.95), "peak_ratio": (1.4, 3.5)},
)
def pressure_weighted_shoe(nip_pressure: Num, peak_position: Num, peak_ratio: Num) -> Num:
    """Pressure of a shoe nip weighted by itself: integral of p² over integral of p.

    Picture: a tilted shoe does its work near the peak. Use for: the equilibrium moisture in the closed form, within
    2/(1 + peak_position) ≤ peak_ratio < 2/(1 - peak_position). Not for: rolls. In print: nothing. Made from: the
    shoe's ramp to the peak and its quick release.
    """
    power = peak_position / (1.0 / peak_ratio - (1.0 - peak_position) / 2.0) - 1.0
    shape = peak_ratio**2 * (peak_position / (2.0 * power + 1.0) + (1.0 - peak_position) / 3.0)
    return nip_pressure * shape


# --- web and felt in series


@derived(
    """x = max(moisture_ratio - equilibrium_moisture, 0)
        specific_filtration_resistance = 1/(specific_permeability*x**(permeability_exponent + 1))""",
    where="Darcy through W (M/density + 1/wall density): filtration and pressing are one equation",
    holds={"moisture_ratio": (0.5, 10.0)},
)
def specific_filtration_resistance_press(
    moisture_ratio: Num, equilibrium_moisture: Num, specific_permeability: Num, permeability_exponent: Num
) -> Num:
    """Filtration resistance of the web in the nip at one moisture, to set beside that of its mat.

    Picture: the mat of the former, closed further and further. Infinite at the equilibrium moisture. Use for:
    comparing former and press. Not for: reckoning the press from the mat: an anchored set resists about ten times
    as much while moist and a hundred times or more when dry. In print: nothing. Made from: A x^(n+1) as permeability
    times mat consistency.
    """
    x = np.maximum(moisture_ratio - equilibrium_moisture, 0.0)
    with np.errstate(divide="ignore"):
        return 1.0 / (specific_permeability * x ** (permeability_exponent + 1.0))


@relation(
    """full = max(felt_room, 0)
        f = min(water_pressed, full)
        share = where(full > 0, f/full, 1)
        impulse_felt = kinematic_viscosity*felt_resistance*(f*share/2 + water_pressed - f)""",
    source="GREEN_AMPT_1911",
    where="water fills the free voids of the felt from the sheet side; the path grows until the felt is full",
    status="derived",
)
def impulse_spent_in_felt(water_pressed: Num, kinematic_viscosity: Num, felt_resistance: Num, felt_room: Num) -> Num:
    """Press impulse that goes into pushing the pressed water into and through one felt.

    Picture: the water's way through the felt is as long as the part it has filled; once full it is the whole felt.
    Use for: clean and plugged felts. Not for: the felt's own squeezing. In print: the form is that of water soaking
    into soil. Made from: Darcy through a growing path: half the felt's resistance where the water just fills it,
    next to nothing where there is much more room than water.
    """
    full = np.maximum(felt_room, 0.0)
    filled = np.minimum(water_pressed, full)
    share = np.where(full > 0.0, filled / np.where(full > 0.0, full, 1.0), 1.0)
    return (kinematic_viscosity * felt_resistance * (0.5 * filled * share + water_pressed - filled))[()]


@relation(
    """w = grammage/felted_sides
        before = (moisture_ratio - equilibrium_moisture)**(-permeability_exponent)
        after = (moisture_ratio_pressed - equilibrium_moisture)**(-permeability_exponent)
        impulse_web = kinematic_viscosity*w**2/(permeability_exponent*specific_permeability)*(after - before)""",
    source="KEREKES_MCDONALD_1991",
    where="closed form of the press model solved for the impulse",
    status="derived",
    holds={"moisture_ratio": (2.0, 8.0), "moisture_ratio_pressed": (1.0, 1.9)},
)
def impulse_spent_in_web(
    moisture_ratio: Num,
    moisture_ratio_pressed: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    specific_permeability: Num,
    permeability_exponent: Num,
    equilibrium_moisture: Num,
    felted_sides: Num,
) -> Num:
    """Press impulse that the web alone takes on the way from one moisture to a drier one.

    Picture: the last of the water costs most. Use for: telling web and felt apart in a nip. Not for: moistures at or
    below the equilibrium, where it has no end. In print: no table of values. Made from: the closed form of
    `moisture_pressed_decreasing_permeability`, turned round.
    """
    w = grammage / felted_sides
    before = (moisture_ratio - equilibrium_moisture) ** (-permeability_exponent)
    after = (moisture_ratio_pressed - equilibrium_moisture) ** (-permeability_exponent)
    return kinematic_viscosity * w**2 / (permeability_exponent * specific_permeability) * (after - before)


@relation(
    """water = grammage/felted_sides*(moisture_ratio - moisture_ratio_pressed)
        felt = impulse_spent_in_felt(water, kinematic_viscosity, felt_resistance, felt_room)
        w = grammage/felted_sides
        before = (moisture_ratio - equilibrium_moisture)**(-permeability_exponent)
        after = (moisture_ratio_pressed - equilibrium_moisture)**(-permeability_exponent)
        web = kinematic_viscosity*w**2/(permeability_exponent*specific_permeability)*(after - before)
        0 = web + felt - press_impulse""",
    gives="moisture_ratio_pressed",
    kind="equation",
    source="KEREKES_MCDONALD_1991",
    where=_MODEL,
    status="derived",
    holds={"moisture_ratio": (1.2, 10.0), "permeability_exponent": (0.5, 8.0), "grammage": (0.010, 0.170)},
)
def moisture_pressed_felt(
    moisture_ratio: Num,
    press_impulse: Num,
    grammage: Num,
    kinematic_viscosity: Num,
    specific_permeability: Num,
    permeability_exponent: Num,
    equilibrium_moisture: Num,
    felted_sides: Num,
    felt_resistance: Num,
    felt_room: Num,
) -> Num:
    """Moisture ratio at the driest point of a nip whose felt resists too, before rewet.

    Picture: one push through two sponges in a row; the second fills up on the way. Use for: any nip on a felt; with
    no felt resistance it is `moisture_pressed_decreasing_permeability`. A web drier than its equilibrium stays as it
    came. Not for: crushing or felt roughness. `felt_room` is the free water room of one felt. In print: nothing.
    Made from: dM/dJ = -1/(ν W²/(A x^(n+1)) + ν W R) with R growing as the felt fills. Its integral falls and is
    convex, so at most eight Newton steps climb to the root from the wetter of two nips, one without felt and one
    without web.
    """
    inside = np.greater(moisture_ratio, equilibrium_moisture)
    n, w = permeability_exponent, grammage / felted_sides
    start = np.where(inside, moisture_ratio - equilibrium_moisture, 1.0)
    web = kinematic_viscosity * w * w / (n * specific_permeability)
    felt = kinematic_viscosity * felt_resistance
    full = np.maximum(felt_room, 0.0)
    room = np.where(full > 0.0, full, 1.0)
    most = press_impulse / np.where(np.greater(felt, 0.0), felt, 1.0)
    soaked = np.where(2.0 * most < full, np.sqrt(2.0 * full * most), most + 0.5 * full)
    soaked = np.where(np.greater(felt, 0.0), soaked, w * start)
    before = start**-n
    x = np.maximum((before + press_impulse / web) ** (-1.0 / n), start - soaked / w)
    for _ in range(_STEPS):
        water = w * (start - x)
        filled = np.minimum(water, full)
        share = np.where(full > 0.0, filled / room, 1.0)
        rest = x**-n
        misfit = web * (rest - before) + felt * (0.5 * filled * share + water - filled) - press_impulse
        step = misfit / (web * n * rest / x + felt * w * share)
        x = x + step
        if (np.abs(step) < 1e-9).all():  # the next would be its square
            break
    return np.where(inside, equilibrium_moisture + x, moisture_ratio)[()]


# --- what comes back, and the best weight


@derived(
    "contact_time = (1 - peak_position)*nip_width/speed",
    where="from the peak of the pressure to the end of the nip",
    holds={"peak_position": (0.0, 1.0)},
)
def contact_time_after_peak(peak_position: Num, nip_width: Num, speed: Num) -> Num:
    """Time in which sheet and felt still touch after the peak of the pressure; half the nip for a roll.

    Picture: the sponge is let go while the sheet still lies on it. Use for: rewet by time. Not for: felts that wrap
    beyond the nip: their contact comes on top. In print: nothing. Made from: geometry.
    """
    return (1.0 - peak_position) * nip_width / speed


@relation(
    """soaked = (1 - splitting_share)*sqrt(contact_time/contact_time_reference)
        rewet = rewet_reference*(splitting_share + soaked)""",
    source="REWET_2018",
    where="two terms of the abstract; square root of time and splitting share 0.4 (0 to 1) assumed",
    status="assumed",
    holds={"splitting_share": (0.0, 1.0)},
)
def rewet_at_dwell(rewet_reference: Num, contact_time: Num, contact_time_reference: Num, splitting_share: Num) -> Num:
    """Rewet of a nip with another contact time than the one its rewet was read at.

    Picture: part of it is torn off in a film at once, the rest soaks back while felt and sheet touch. Use for: slow
    machines and long nips. Not for: another felt. In print: splitting and flow from the felt as the two causes. Made
    from: one reference split by a share; by hand the same as `rewet_two_term`.
    """
    return rewet_reference * (
        splitting_share + (1.0 - splitting_share) * np.sqrt(contact_time / contact_time_reference)
    )


@assumed(
    "rewet = rewet*(felt_moisture_ratio/felt_moisture_reference)**felt_exponent",
    where="water splits in proportion to what the felt holds behind the nip; exponent 1, range 0 to 1",
    holds={"felt_exponent": (0.0, 1.0)},
)
def rewet_of_felt(rewet: Num, felt_moisture_ratio: Num, felt_moisture_reference: Num, felt_exponent: Num) -> Num:
    """Rewet from a felt that is wetter or drier behind the nip than the reference.

    Picture: a wet cloth wets again. This is the main way in which boxes, shower, age and dryness into the nip reach
    the sheet. Use for: directions. Not for: a number without a felt scan before and after the boxes. In print:
    nothing. Made from: a power of the felt's water; exponent 0 leaves the felt out.
    """
    return rewet * (felt_moisture_ratio / felt_moisture_reference) ** felt_exponent


@derived(
    """even = sqrt(permeability_exponent*specific_permeability*press_impulse/kinematic_viscosity)
        power = permeability_exponent/(permeability_exponent + 2)
        grammage_driest = even*(permeability_exponent*rewet/(2*even))**power""",
    where="flow limit of the nip plus rewet, least over the grammage",
)
def grammage_driest(
    rewet: Num, press_impulse: Num, kinematic_viscosity: Num, specific_permeability: Num, permeability_exponent: Num
) -> Num:
    """Grammage that leaves this nip driest: lighter is wetter by rewet, heavier is wetter by flow.

    Picture: rewet spreads over the fibre, flow has to pass it. Use for: saying on which side a sheet lies, one felted
    side, bone-dry at the press. Not for: nips far from the flow limit, or with an equilibrium moisture that rules.
    In print: nothing. Made from: c W^(2/n) + R/W with c = (ν/(n A J))^(1/n).
    """
    even = np.sqrt(permeability_exponent * specific_permeability * press_impulse / kinematic_viscosity)
    power = permeability_exponent / (permeability_exponent + 2.0)
    return even * (permeability_exponent * rewet / (2.0 * even)) ** power


@derived(
    """largest = max(max(dryness_first, dryness_second), dryness_third)
        smallest = min(min(dryness_first, dryness_second), dryness_third)
        dryness_half_range = (largest - smallest)/2""",
    where="definition",
)
def dryness_form_half_range(dryness_first: Num, dryness_second: Num, dryness_third: Num) -> Num:
    """Plus or minus of a press dryness that comes from not knowing the form of the press model.

    Picture: three pictures of one nip, and how far apart they lie. Use for: runs with equilibrium share 0, 0.5 and
    1, each with the permeability of its own anchor. Not for: adding to a drawn population, which holds it already.
    In print: nothing. Made from: half of largest less smallest.
    """
    largest = np.maximum(np.maximum(dryness_first, dryness_second), dryness_third)
    smallest = np.minimum(np.minimum(dryness_first, dryness_second), dryness_third)
    return (largest - smallest) / 2.0
