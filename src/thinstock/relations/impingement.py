"""Heat and mass transfer of air jets blown onto a sheet, and the nozzle plates that make them.

Martin's correlations for single round jets, fields of holes and fields of slots, with gas properties taken at
the mean of jet and sheet temperature. Good to about 15 %; cross-flow of spent air along a wide hood is not
covered.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation


@relation(
    """root = sqrt(jet_open_area)
        gap_factor = 2*root*(1 - 2.2*root)/(1 + 0.2*(gap_ratio - 6)*root)""",
    source="MARTIN_1977",
    where="geometric function of round jets",
    status="from memory",
    holds={"jet_open_area": (0.004, 0.04), "gap_ratio": (2.0, 12.0)},
)
def gap_factor_martin(jet_open_area: Num, gap_ratio: Num) -> Num:
    """How open area and distance of round jets act on their transfer.

    Picture: few holes leave dead ground between, far plates let the jets spread out. Use for: the three
    correlations of round jets. Not for: slots. In print: G of the relative nozzle area and H/D. Made from:
    fits by the author.
    """
    root = np.sqrt(jet_open_area)
    return 2.0 * root * (1.0 - 2.2 * root) / (1.0 + 0.2 * (gap_ratio - 6.0) * root)


@relation(
    """k = (1 + (gap_ratio*sqrt(jet_open_area)/0.6)**6)**(-0.05)
        g = gap_factor_martin(jet_open_area, gap_ratio)
        nusselt = k*g*0.5*reynolds**(2/3)*prandtl**0.42""",
    source="MARTIN_1977",
    where="fields of round nozzles",
    status="from memory",
    holds={"reynolds": (2000.0, 1e5), "jet_open_area": (0.004, 0.04), "gap_ratio": (2.0, 12.0)},
)
def nusselt_hole_array_martin(reynolds: Num, prandtl: Num, jet_open_area: Num, gap_ratio: Num) -> Num:
    """Mean Nusselt number under a field of round jets.

    Picture: a plate full of holes blows on the sheet. Use for: Yankee hoods with hole plates; length is the
    hole diameter. Not for: spent air that crosses the jets. In print: Re 2000-100000, f 0.004-0.04, H/D 2-12,
    ±15 %. Made from: many laboratories' hole fields; the form is confirmed here by its own printed optimum.
    """
    ratio = gap_ratio * np.sqrt(jet_open_area) / 0.6
    square = ratio * ratio
    k = (1.0 + square * square * square) ** -0.05
    return k * gap_factor_martin(jet_open_area, gap_ratio) * 0.5 * reynolds ** (2.0 / 3.0) * prandtl**0.42


@relation(
    """best = 1/sqrt(60 + 4*(gap_ratio - 2)**2)
        mixed = 2*reynolds/(jet_open_area/best + best/jet_open_area)
        nusselt = 2/3*best**0.75*mixed**(2/3)*prandtl**0.42""",
    source="MARTIN_1977",
    where="fields of slot nozzles, read as quoted",
    status="published",
    holds={"reynolds": (1500.0, 4e4), "gap_ratio": (1.0, 40.0)},
)
def nusselt_slot_array_martin(reynolds: Num, prandtl: Num, jet_open_area: Num, gap_ratio: Num) -> Num:
    """Mean Nusselt number under a field of slot jets.

    Picture: curtains of air side by side. Use for: slotted hoods; length is twice the slot width, also in
    gap_ratio. Not for: f below 0.008 or above 2.5 times the best one. In print: Re 1500-40000, H/S 1-40. Made
    from: slot fields of several laboratories.
    """
    best = 1.0 / np.sqrt(60.0 + 4.0 * (gap_ratio - 2.0) ** 2)
    mixed = 2.0 * reynolds / (jet_open_area / best + best / jet_open_area)
    return 2.0 / 3.0 * best**0.75 * mixed ** (2.0 / 3.0) * prandtl**0.42


@relation(
    """g = gap_factor_martin(jet_area_ratio, gap_ratio)
        nusselt = g*2*sqrt(reynolds)*sqrt(1 + 0.005*reynolds**0.55)*prandtl**0.42""",
    source="MARTIN_1977",
    where="single round nozzle, read in textbook notes",
    status="published",
    holds={"reynolds": (2e3, 4e5), "gap_ratio": (2.0, 12.0), "jet_area_ratio": (0.004, 0.04)},
)
def nusselt_single_jet_martin(reynolds: Num, prandtl: Num, jet_area_ratio: Num, gap_ratio: Num) -> Num:
    """Mean Nusselt number under one round jet over the circle it serves.

    Picture: one hose blown at a wall. Use for: trials with a single jet. Not for: hoods. In print: Re
    2000-400000, H/D 2-12, D²/4r² 0.004-0.04. Made from: single-jet measurements.
    """
    g = gap_factor_martin(jet_area_ratio, gap_ratio)
    return g * 2.0 * np.sqrt(reynolds) * np.sqrt(1.0 + 0.005 * reynolds**0.55) * prandtl**0.42


@relation(
    """reynolds = jet_velocity*nozzle_diameter/kinematic_viscosity
        nusselt = nusselt_hole_array_martin(reynolds, prandtl, jet_open_area, nozzle_gap/nozzle_diameter)
        heat_transfer_coefficient = nusselt*conductivity/nozzle_diameter""",
    source="MARTIN_1977",
    where="fields of round nozzles",
    status="from memory",
    holds={"jet_open_area": (0.004, 0.04)},
)
def jet_heat_transfer_hole_array_martin(
    jet_velocity: Num,
    nozzle_diameter: Num,
    jet_open_area: Num,
    nozzle_gap: Num,
    kinematic_viscosity: Num,
    conductivity: Num,
    prandtl: Num,
) -> Num:
    """Heat transfer coefficient under a field of round jets.

    Picture: the same plate in watts. Use for: hoods, before the high-flux correction. Not for: nominal hole
    area in place of the jets' own. In print: as the Nusselt number. Made from: as the Nusselt number.
    """
    reynolds = jet_velocity * nozzle_diameter / kinematic_viscosity
    nusselt = nusselt_hole_array_martin(reynolds, prandtl, jet_open_area, nozzle_gap / nozzle_diameter)
    return nusselt * conductivity / nozzle_diameter


@relation(
    """hydraulic = 2*nozzle_width
        reynolds = jet_velocity*hydraulic/kinematic_viscosity
        nusselt = nusselt_slot_array_martin(reynolds, prandtl, jet_open_area, nozzle_gap/hydraulic)
        heat_transfer_coefficient = nusselt*conductivity/hydraulic""",
    source="MARTIN_1977",
    where="fields of slot nozzles",
    status="published",
)
def jet_heat_transfer_slot_array_martin(
    jet_velocity: Num,
    nozzle_width: Num,
    jet_open_area: Num,
    nozzle_gap: Num,
    kinematic_viscosity: Num,
    conductivity: Num,
    prandtl: Num,
) -> Num:
    """Heat transfer coefficient under a field of slot jets.

    Picture: curtains of air in watts. Use for: slotted hoods, before the high-flux correction. Not for:
    holes. In print: as the Nusselt number, with twice the slot width as length. Made from: as the Nusselt
    number.
    """
    hydraulic = 2.0 * nozzle_width
    reynolds = jet_velocity * hydraulic / kinematic_viscosity
    nusselt = nusselt_slot_array_martin(reynolds, prandtl, jet_open_area, nozzle_gap / hydraulic)
    return nusselt * conductivity / hydraulic


@relation(
    """reynolds = jet_velocity*nozzle_diameter/kinematic_viscosity
        area_ratio = nozzle_diameter**2/(4*target_radius**2)
        nusselt = nusselt_single_jet_martin(reynolds, prandtl, area_ratio, nozzle_gap/nozzle_diameter)
        heat_transfer_coefficient = nusselt*conductivity/nozzle_diameter""",
    source="MARTIN_1977",
    where="single round nozzle",
    status="published",
)
def jet_heat_transfer_single_jet_martin(
    jet_velocity: Num,
    nozzle_diameter: Num,
    target_radius: Num,
    nozzle_gap: Num,
    kinematic_viscosity: Num,
    conductivity: Num,
    prandtl: Num,
) -> Num:
    """Heat transfer coefficient under one round jet, mean over a circle.

    Picture: one hose at a wall, in watts. Use for: trials with one jet. Not for: hoods. In print: as the
    Nusselt number. Made from: as the Nusselt number.
    """
    reynolds = jet_velocity * nozzle_diameter / kinematic_viscosity
    area_ratio = nozzle_diameter**2 / (4.0 * target_radius**2)
    nusselt = nusselt_single_jet_martin(reynolds, prandtl, area_ratio, nozzle_gap / nozzle_diameter)
    return nusselt * conductivity / nozzle_diameter


@relation(
    "sherwood = nusselt*(schmidt/prandtl)**0.42",
    source="MARTIN_1977",
    where="analogy of heat and mass transfer",
    status="from memory",
)
def sherwood_analogy_martin(nusselt: Num, schmidt: Num, prandtl: Num) -> Num:
    """Sherwood number from the Nusselt number of the same jets.

    Picture: what carries heat to the sheet carries vapour away. Use for: evaporation under jets. Not for:
    surfaces that are partly dry. In print: power 0.42 on both. Made from: sublimation and heating trials with
    equal result.
    """
    return nusselt * (schmidt / prandtl) ** 0.42


@derived("jet_open_area = pi*nozzle_diameter**2/(2*sqrt(3)*nozzle_pitch**2)", where="geometry")
def jet_open_area_hexagonal(nozzle_diameter: Num, nozzle_pitch: Num) -> Num:
    """Open area of a plate with holes in a triangular pattern.

    Picture: every hole in the middle of a hexagon. Use for: most hole plates. Not for: square patterns.
    In print: geometry. Made from: hole area per cell area.
    """
    return np.pi * nozzle_diameter**2 / (2.0 * np.sqrt(3.0) * nozzle_pitch**2)


@derived("jet_open_area = pi*nozzle_diameter**2/(4*nozzle_pitch**2)", where="geometry")
def jet_open_area_square(nozzle_diameter: Num, nozzle_pitch: Num) -> Num:
    """Open area of a plate with holes in a square pattern.

    Picture: every hole in the middle of a square. Use for: square patterns. Not for: staggered rows.
    In print: geometry. Made from: hole area per cell area.
    """
    return np.pi * nozzle_diameter**2 / (4.0 * nozzle_pitch**2)


@derived("jet_open_area = nozzle_width/nozzle_pitch", where="geometry")
def jet_open_area_slot(nozzle_width: Num, nozzle_pitch: Num) -> Num:
    """Open area of a plate with slots.

    Picture: slot width per spacing. Use for: slotted hoods. Not for: holes. In print: geometry. Made from:
    geometry.
    """
    return nozzle_width / nozzle_pitch


@relation(
    "contracted = nozzle_diameter*sqrt(contraction)",
    gives="nozzle_diameter",
    source="MARTIN_1977",
    where="sharp-edged nozzles",
    status="from memory",
    holds={"contraction": (0.6, 1.0)},
)
def nozzle_diameter_contracted(nozzle_diameter: Num, contraction: Num) -> Num:
    """Diameter of the jet that a sharp hole lets through.

    Picture: the stream necks in behind a sharp edge. Use for: every jet formula when holes are sharp
    (0.6-0.8). Not for: slots, whose width shrinks by the contraction itself. In print: jet in place of
    nozzle. Made from: jet area = contraction times hole area.
    """
    return nozzle_diameter * np.sqrt(contraction)


@relation(
    "contracted = jet_open_area*contraction",
    gives="jet_open_area",
    source="MARTIN_1977",
    where="sharp-edged nozzles",
    status="from memory",
    holds={"contraction": (0.6, 1.0)},
)
def jet_open_area_contracted(jet_open_area: Num, contraction: Num) -> Num:
    """Area of the jets per plate area when the holes are sharp.

    Picture: nominal holes are larger than their jets. Use for: every jet formula. Not for: rounded nozzles,
    whose contraction is 1. In print: jet in place of nozzle. Made from: the definition of contraction.
    """
    return jet_open_area * contraction


@derived("jet_mass_flux = density*jet_velocity*jet_open_area*contraction")
def jet_mass_flux(density: Num, jet_velocity: Num, jet_open_area: Num, contraction: Num) -> Num:
    """Humid air blown per plate area.

    Picture: all the little jets added up. Use for: circulating air of a hood. Not for: dry air, which is less
    by 1 + humidity. In print: continuity. Made from: jet velocity is that of the contracted jet.
    """
    return density * jet_velocity * jet_open_area * contraction


@derived("pressure_drop = 0.5*density*jet_velocity**2")
def nozzle_pressure_drop(density: Num, jet_velocity: Num) -> Num:
    """Pressure in the nozzle box that makes the jets.

    Picture: the box pressure turned to speed. Use for: jet velocity from a box-pressure gauge. Not for: the
    whole fan pressure, which has ducts and burner too. In print: Bernoulli. Made from: contracted jet without
    loss.
    """
    return 0.5 * density * jet_velocity**2


@derived(
    """k = (1 + (gap_ratio*sqrt(jet_open_area)/0.6)**6)**(-0.05)
        merit = k*gap_factor_martin(jet_open_area, gap_ratio)*jet_open_area**(-2/9)*gap_ratio**(1/3)""",
    where="heat transfer at fixed gap and blower power per area",
    holds={"jet_open_area": (0.004, 0.04), "gap_ratio": (2.0, 12.0)},
)
def hole_array_merit(jet_open_area: Num, gap_ratio: Num) -> Num:
    """What a plate of holes gives for the same blower power at the same distance.

    Picture: many small or few large holes, fast or slow, at one electricity bill. Use for: ranking nozzle
    plates. Not for: plates limited by plugging or machining. In print: its best value is printed as f 0.0152,
    D/H 0.2, S/H 1.4. Made from: the hole-field formula with power proportional to V³f.
    """
    ratio = gap_ratio * np.sqrt(jet_open_area) / 0.6
    k = (1.0 + ratio**6) ** -0.05
    g = gap_factor_martin(jet_open_area, gap_ratio)
    return k * g * jet_open_area ** (-2.0 / 9.0) * gap_ratio ** (1.0 / 3.0)


@derived(
    """best = 1/sqrt(60 + 4*(gap_ratio - 2)**2)
        mixed = 2/(jet_open_area/best + best/jet_open_area)
        merit = best**0.75*mixed**(2/3)*jet_open_area**(-2/9)*gap_ratio**(1/3)""",
    where="heat transfer at fixed gap and blower power per area",
    holds={"gap_ratio": (1.0, 40.0)},
)
def slot_array_merit(jet_open_area: Num, gap_ratio: Num) -> Num:
    """What a plate of slots gives for the same blower power at the same distance.

    Picture: as for holes. Use for: ranking slotted plates. Not for: ranking slots against holes.
    In print: its best value is printed with the slot fields. Made from: the slot-field formula, power V³f.
    """
    best = 1.0 / np.sqrt(60.0 + 4.0 * (gap_ratio - 2.0) ** 2)
    mixed = 2.0 / (jet_open_area / best + best / jet_open_area)
    return best**0.75 * mixed ** (2.0 / 3.0) * jet_open_area ** (-2.0 / 9.0) * gap_ratio ** (1.0 / 3.0)
