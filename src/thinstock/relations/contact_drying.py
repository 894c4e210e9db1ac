"""Heat from steam through condensate, shell and contact into the sheet on a Yankee or drying cylinder.

All coefficients are effective levels to be calibrated. The shell is used as a resistance between given
temperatures; its strength, allowed pressure, thickness and load are never computed, and a thinner shell that
dries better in this arithmetic is no reason to grind one.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation


@assumed(
    """wet_share = 1 - exp(-moisture_ratio/moisture_scale)
        gain = contact_coefficient_wet - contact_coefficient_dry
        contact_coefficient = contact_coefficient_dry + gain*wet_share""",
    where="form with the observed trend",
    holds={"moisture_ratio": (0.0, 4.0)},
)
def contact_coefficient_exponential(
    moisture_ratio: Num, contact_coefficient_dry: Num, contact_coefficient_wet: Num, moisture_scale: Num
) -> Num:
    """Heat transfer from shell to sheet as the sheet dries.

    Picture: a wet sheet lies like a wet shirt, a dry one touches with its fibres only. Use for: Yankees;
    includes half the sheet and the coating. Not for: a sheet that lifts off. In print: many forms of the same
    trend. Made from: an assumed form; both ends are to be calibrated.
    """
    wet_share = 1.0 - np.exp(-moisture_ratio / moisture_scale)
    return contact_coefficient_dry + (contact_coefficient_wet - contact_coefficient_dry) * wet_share


@relation(
    "contact_coefficient = contact_coefficient_dry + contact_slope*moisture_ratio",
    source="WILHELMSSON_1993",
    status="from memory",
    holds={"moisture_ratio": (0.0, 2.0)},
)
def contact_coefficient_linear(moisture_ratio: Num, contact_coefficient_dry: Num, contact_slope: Num) -> Num:
    """Heat transfer from cylinder to sheet, straight line in moisture.

    Picture: as the other form, without an upper end. Use for: multi-cylinder dryers (about 200 + 955 u).
    Not for: very wet sheets on a Yankee. In print: contact and condensate coefficients are the tuning pair.
    Made from: mill trials on cylinder dryers; numbers from memory.
    """
    return contact_coefficient_dry + contact_slope * moisture_ratio


@derived("condensate_coefficient = conductivity/film_thickness", where="laminar film")
def condensate_coefficient_film(conductivity: Num, film_thickness: Num) -> Num:
    """Heat transfer through a rimming film of condensate at rest.

    Picture: a layer of hot water stuck to the wall. Use for: lower bound of a smooth cylinder. Not for:
    ribbed shells, whose crowns stand out of the film. In print: conduction. Made from: conduction through
    water.
    """
    return conductivity / film_thickness


@relation(
    """m = sqrt(2*heat_transfer_coefficient/(conductivity*fin_thickness))
        fin_efficiency = tanh(m*fin_height)/(m*fin_height)""",
    source="TEXTBOOK_HEAT_TRANSFER",
    where="straight fin of constant thickness, insulated tip",
    status="from memory",
)
def fin_efficiency_straight(
    heat_transfer_coefficient: Num, conductivity: Num, fin_thickness: Num, fin_height: Num
) -> Num:
    """How much of a rib's side works as if it were at root temperature.

    Picture: a rib cools towards its foot. Use for: ribs inside a Yankee. Not for: tapering ribs.
    In print: tanh(mH)/(mH). Made from: conduction along the rib.
    """
    m = np.sqrt(2.0 * heat_transfer_coefficient / (conductivity * fin_thickness))
    return np.tanh(m * fin_height) / (m * fin_height)


@derived(
    """efficiency = fin_efficiency_straight(side_coefficient, conductivity, rib_thickness, rib_height)
        ribs = crown_coefficient*rib_thickness + efficiency*side_coefficient*2*rib_height
        condensate_coefficient = (ribs + root_coefficient*(rib_pitch - rib_thickness))/rib_pitch""",
    where="areas in parallel",
)
def condensate_coefficient_ribbed(
    crown_coefficient: Num,
    side_coefficient: Num,
    root_coefficient: Num,
    conductivity: Num,
    rib_thickness: Num,
    rib_height: Num,
    rib_pitch: Num,
) -> Num:
    """Condensate coefficient of a ribbed shell, per root area.

    Picture: steam meets crowns and sides of the ribs, condensate lies in the grooves. Use for: what ribs
    gain. Not for: flooded grooves. In print: nowhere in this form. Made from: crown, sides with fin
    efficiency, and root in parallel.
    """
    efficiency = fin_efficiency_straight(side_coefficient, conductivity, rib_thickness, rib_height)
    ribs = crown_coefficient * rib_thickness + efficiency * side_coefficient * 2.0 * rib_height
    return (ribs + root_coefficient * (rib_pitch - rib_thickness)) / rib_pitch


@derived(
    """inner = yankee_diameter - 2*shell_thickness
        shell_resistance = yankee_diameter/(2*conductivity)*log(yankee_diameter/inner)""",
    where="conduction through a cylinder, on the outer surface",
)
def shell_resistance_cylinder(yankee_diameter: Num, shell_thickness: Num, conductivity: Num) -> Num:
    """Resistance of the shell below its grooves, on the outer surface.

    Picture: heat spreads a little on its way out. Use for: Yankees and cylinders. Not for: any statement on
    strength. In print: conduction through a tube. Made from: steady radial conduction.
    """
    inner = yankee_diameter - 2.0 * shell_thickness
    return yankee_diameter / (2.0 * conductivity) * np.log(yankee_diameter / inner)


@derived("shell_resistance = shell_thickness/conductivity", where="conduction through a plane wall")
def shell_resistance_plane(shell_thickness: Num, conductivity: Num) -> Num:
    """Resistance of a shell taken as a plane wall.

    Picture: the shell unrolled. Use for: quick sums, half a percent off on a Yankee. Not for: small
    cylinders. In print: conduction. Made from: steady conduction.
    """
    return shell_thickness / conductivity


@derived("""boundary_resistance = 1/condensate_coefficient + shell_resistance
        surface_temperature = steam_temperature - mean_flux*boundary_resistance""")
def surface_temperature_mean_flux(
    steam_temperature: Num, mean_flux: Num, condensate_coefficient: Num, shell_resistance: Num
) -> Num:
    """Temperature of the shell's outer surface from the heat flux averaged round the turn.

    Picture: the shell is too slow to notice where the sheet is. Use for: the Yankee's balance. Not for: the
    flux under the sheet alone, which overstates the drop by one over the wrap share. In print: resistances in
    series. Made from: steady conduction with the mean flux.
    """
    return steam_temperature - mean_flux * (1.0 / condensate_coefficient + shell_resistance)


@relation(
    "skin_depth = sqrt(conductivity*period/(pi*density*heat_capacity))",
    source="TEXTBOOK_HEAT_TRANSFER",
    where="periodic heating of a thick wall",
    status="derived",
)
def skin_depth_thermal(conductivity: Num, density: Num, heat_capacity: Num, period: Num) -> Num:
    """Depth that a temperature ripple of this period reaches.

    Picture: a turn is too short for heat to cross the shell: 1.6 mm in iron. Use for: why the mean flux
    counts. Not for: start-up. In print: penetration of a periodic surface temperature. Made from: conduction.
    """
    return np.sqrt(conductivity * period / (np.pi * density * heat_capacity))


@relation(
    """effusivity = sqrt(conductivity*density*heat_capacity)
        surface_ripple = flux_amplitude/(sqrt(2*pi*harmonic/period)*effusivity)""",
    source="TEXTBOOK_HEAT_TRANSFER",
    where="periodic heating of a thick wall",
    status="derived",
)
def surface_ripple_semi_infinite(
    flux_amplitude: Num, harmonic: Num, period: Num, conductivity: Num, density: Num, heat_capacity: Num
) -> Num:
    """Swing of the surface temperature once (or n times) per turn.

    Picture: the skin of the shell breathes by about a kelvin. Use for: showing that it may be left out.
    Not for: thin sleeves. In print: periodic flux into a thick wall. Made from: conduction.
    """
    effusivity = np.sqrt(conductivity * density * heat_capacity)
    return flux_amplitude / (np.sqrt(2.0 * np.pi * harmonic / period) * effusivity)


@derived(
    """per_mass = heat_capacity*(373.15 - coating_temperature) + latent_heat
        shell_load = coating_water*yankee_speed*per_mass""",
    where="spray boiled off before the nip",
    in_units={
        "coating_water": "kg/m²",
        "yankee_speed": "m/s",
        "coating_temperature": "K",
        "heat_capacity": "J/(kg K)",
        "latent_heat": "J/kg",
    },
)
def shell_load_coating(
    coating_water: Num, yankee_speed: Num, coating_temperature: Num, heat_capacity: Num, latent_heat: Num
) -> Num:
    """Heat the bare shell gives to coating spray, per metre of width.

    Picture: the spray boils off before the sheet comes round. Use for: what a wet coating costs. Not for:
    spray that is still wet in the nip. In print: nowhere. Made from: warming to 100 °C and boiling.
    """
    return coating_water * yankee_speed * (heat_capacity * (373.15 - coating_temperature) + latent_heat)


@derived("arc_length = yankee_diameter/2*angle", where="geometry")
def arc_length(yankee_diameter: Num, angle: Num) -> Num:
    """Length along the shell over an angle.

    Picture: a piece of the rim. Use for: wrap, start and end of the hood. Not for: degrees. In print:
    geometry. Made from: radius times angle.
    """
    return yankee_diameter / 2.0 * angle
