"""What a refiner costs and what it does to one fibre; how a blend of fibres drains and holds water.

Freeness, water retention and fines are three readings of one refiner: their effects are not added up. One constant
a fibre says how fast its resistance grows with net energy; two freeness readings round a refiner replace it.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation

_RISE = "one constant a fibre, assumed form; neither energy nor edge load alone fixes the result"


@derived("refining_energy = (power - no_load_power)/(flow*consistency)", where="definition, net")
def refining_energy_specific(power: Num, no_load_power: Num, flow: Num, consistency: Num) -> Num:
    """Net energy that a refiner gives to each kilogram of fibre.

    Picture: what the plates do beyond turning in water. Use for: a refiner with its power, its power on water and
    its flow read. Not for: gross energy, which is net over one less the no-load share. In print: definition. Made
    from: power over fibre flow.
    """
    return (power - no_load_power) / (flow * consistency)


@relation(
    "edge_rate = rotor_bars*stator_bars*bar_length*rotation_frequency",
    source="BRECHT_SIEWERT_1966",
    where="length of bar edges that cross in a second",
    status="from memory",
    holds={"bar_length": (0.02, 0.5)},
)
def edge_rate_disc(rotor_bars: Num, stator_bars: Num, bar_length: Num, rotation_frequency: Num) -> Num:
    """Length of bar edges that cross each other in a second.

    Picture: every rotor bar passes every stator bar once a turn. Use for: one disc pair with straight bars. Not for:
    zones of different pattern, which are added up. In print: the specific edge load of 1966. Made from: counting.
    """
    return rotor_bars * stator_bars * bar_length * rotation_frequency


@relation(
    "edge_load = (power - no_load_power)/edge_rate",
    source="BRECHT_SIEWERT_1966",
    where="net power over the edges that cross in a second",
    status="from memory",
)
def edge_load_specific(power: Num, no_load_power: Num, edge_rate: Num) -> Num:
    """Energy per metre of crossing edge: how hard one treatment is.

    Picture: many light strokes or few hard ones for the same energy. Use for: hardwood at low, softwood at higher
    load. Not for: the result by itself; energy counts besides. In print: the specific edge load of 1966. Made from:
    its definition.
    """
    return (power - no_load_power) / edge_rate


@assumed("resistance_after = resistance_coefficient*exp(refining_energy/energy_scale)", where=_RISE)
def resistance_after_refining(resistance_coefficient: Num, refining_energy: Num, energy_scale: Num) -> Num:
    """Filtration resistance of a fibre after net refining energy.

    Picture: each equal portion of energy multiplies the resistance by the same factor, which gives the S-shape of
    freeness against energy. Use for: one fibre in one refiner. Not for: blends, and plates changed on the way. In
    print: no law; energy and edge load together decide. Made from: one constant a fibre.
    """
    return resistance_coefficient * np.exp(refining_energy / energy_scale)


@assumed("refining_energy = energy_scale*log(resistance_after/resistance_before)", where=_RISE)
def refining_energy_for_resistance(resistance_before: Num, resistance_after: Num, energy_scale: Num) -> Num:
    """Net energy that brings a fibre from one filtration resistance to another.

    Picture: the same share of freeness costs much the same anywhere on the curve. Use for: "what do 50 mL cost?".
    Not for: a fall of resistance, which comes out negative: no refiner undoes refining. In print: nothing. Made
    from: `resistance_after_refining` solved for the energy.
    """
    return energy_scale * np.log(np.divide(resistance_after, resistance_before))


@derived("energy_scale = refining_energy/log(resistance_after/resistance_before)", where=_RISE)
def energy_scale_from_trial(refining_energy: Num, resistance_before: Num, resistance_after: Num) -> Num:
    """Energy scale of a fibre from one trial round a refiner.

    Picture: two freeness readings and the refiner's net energy are all it takes. Use for: replacing the assumed
    constant of a fibre. Not for: readings closer together than they scatter. In print: nothing. Made from:
    `resistance_after_refining` solved for its constant.
    """
    return refining_energy / np.log(np.divide(resistance_after, resistance_before))


@assumed(
    "risen = water_retention_value + swelling_rate*refining_energy",
    gives="water_retention_value",
    where="straight line in net energy; rate = swelling slope over energy scale",
)
def water_retention_after_refining(water_retention_value: Num, refining_energy: Num, swelling_rate: Num) -> Num:
    """Water retention value of a fibre after net refining energy.

    Picture: the same energy opens the wall and takes water in. Use for: chemical pulp. Not for: recycled and
    mechanical pulp, whose rate is 0. In print: bleached E. globulus unrefined 1.07 g/g at 20.3 °SR. Made from: the
    slope of `swelling.water_retention_from_resistance` along the energy.
    """
    return water_retention_value + swelling_rate * refining_energy


@assumed(
    "fines_share_after = 1 - (1 - fines_share)*exp(-fines_rate*refining_energy)",
    gives="fines_share",
    where="long fibre turns to fines at a constant rate; the rate is assumed",
)
def fines_after_refining(fines_share: Num, refining_energy: Num, fines_rate: Num) -> Num:
    """Share of fines after net refining energy.

    Picture: each portion of energy cuts and peels the same share of what is still long. Use for: small amounts of
    energy. Not for: a gentle edge load, which makes fewer. In print: lower edge load, fewer fines. Made from: first
    order in energy.
    """
    return 1.0 - (1.0 - fines_share) * np.exp(-fines_rate * refining_energy)


@assumed("water_retention_value_after = water_retention_value*(1 - hornification)", gives="water_retention_value",
         where="one drying")  # fmt: skip
def water_retention_hornified(water_retention_value: Num, hornification: Num) -> Num:
    """Water retention value of a fibre that has been dried once.

    Picture: the wall closes and does not quite open again. Use for: own broke of market pulp 0-0.1, never-dried
    kraft 0.2-0.35. Not for: mechanical pulp. In print: nothing opened. Made from: one share lost.
    """
    return water_retention_value * (1.0 - hornification)


@derived("blend = sum(share*value)", gives="value", where="mass mean, exact for fibres that do not act on each other")
def blend_mean(share: Num, value: Num) -> Num:
    """Mass mean of a property over the fibres of a blend. Components on the last axis.

    Picture: each kilogram brings its own. Use for: water retention, fines, ash, dissolved matter. Not for: fibre
    length and coarseness, which average otherwise, and drainage. In print: definition. Made from: masses add up.
    """
    return np.sum(np.multiply(share, value), axis=-1)


@derived(
    "blend = sum(share*sqrt(resistance_coefficient))**2",
    gives="resistance_coefficient",
    where="surface adds up, resistance goes with its square at one density",
)
def blend_resistance_surface(share: Num, resistance_coefficient: Num) -> Num:
    """Filtration resistance of a blend whose fibres bring their surface. Components on the last axis.

    Picture: water passes between walls; whose wall it is does not matter. Use for: blends, as a rule. Not for: fines
    that travel and plug, which make it read lower in freeness. In print: no blending rule could be opened. Made
    from: resistance goes with surface squared.
    """
    return np.sum(np.multiply(share, np.sqrt(resistance_coefficient)), axis=-1) ** 2


@derived("blend = sum(share*resistance_coefficient)", gives="resistance_coefficient", where="layers one on another")
def blend_resistance_layers(share: Num, resistance_coefficient: Num) -> Num:
    """Filtration resistance of fibres that lie in layers of their own: the upper end. Components on the last axis.

    Picture: the water passes one mat and then the other. Use for: the upper end of a blend. Not for: fibres mixed.
    In print: nothing. Made from: resistances in line add up.
    """
    return np.sum(np.multiply(share, resistance_coefficient), axis=-1)


@derived("blend = exp(sum(share*log(resistance_coefficient)))", gives="resistance_coefficient",
         where="geometric mean", in_units={"resistance_coefficient": "m/kg"})  # fmt: skip
def blend_resistance_log(share: Num, resistance_coefficient: Num) -> Num:
    """Geometric mean of filtration resistances: the lower end. Components on the last axis.

    Picture: the free part opens ways for all. Use for: the lower end of a blend. Not for: a value to plan with. In
    print: nothing. Made from: the mean of logarithms, never above the other two rules.
    """
    return np.exp(np.sum(np.multiply(share, np.log(resistance_coefficient)), axis=-1))


@assumed(
    "moisture_pressed = moisture_ratio + press_share*(water_retention_after - water_retention_before)",
    gives="moisture_ratio",
    where="by hand only: a machine's press answers by its own furnish",
)
def moisture_pressed_swelling(
    moisture_ratio: Num, water_retention_before: Num, water_retention_after: Num, press_share: Num
) -> Num:
    """Moisture after the press when the fibre holds more water.

    Picture: some of the wall's water stays in the pressed sheet. Use for: an estimate on paper. Not for: a machine
    of this program, whose nip knows its furnish. In print: nothing. Made from: a share between none and all.
    """
    return moisture_ratio + press_share * (water_retention_after - water_retention_before)
