"""Fibres in suspension: how crowded the stock is, and how much of it a sheet of a given grammage uses.

Crowding is a matter of fibre length and coarseness, so the furnish is blended here too. Components of a
furnish lie on the last axis. Nothing is said about how a headbox breaks flocs: that is `flocs`.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation

_CONSISTENCY = (1e-7, 0.05)


@relation(
    "crowding_number = pi/6*consistency*density*fibre_length**2/coarseness",
    source="DODSON_NOTES",
    where="crowding number by mass",
    status="published",
    holds={"consistency": _CONSISTENCY},
)
def crowding_number(consistency: Num, density: Num, fibre_length: Num, coarseness: Num) -> Num:
    """Fibres in the sphere one fibre length across, from mass.

    Picture: a fibre that turns on the spot sweeps a sphere; the number says how many others share it.
    Use for: wood pulps, 1 < N < 130. Not for: fines and filler. Takes the length-weighted mean length.
    In print: mass form with the stock density written out. Made from: geometry alone.
    """
    return np.pi / 6.0 * consistency * density * fibre_length**2 / coarseness


@relation(
    "crowding_number = 5.0*(100*consistency)*fibre_length**2/coarseness",
    source="KEREKES_SCHELL_1992",
    status="from memory",
    holds={"consistency": _CONSISTENCY},
    in_units={"fibre_length": "m", "coarseness": "kg/m"},
)
def crowding_number_kerekes(consistency: Num, fibre_length: Num, coarseness: Num) -> Num:
    """Crowding number with the rounded constant 5.0, consistency in percent, stock density 1000 kg/m³ in it.

    Picture: as `crowding_number`. Use for: comparing with literature that quotes this form; it lies 4.5 %
    lower.
    Not for: new work. In print: consistency in percent, SI otherwise. Made from: geometry, constant
    rounded.
    """
    return 5.0 * (100.0 * consistency) * fibre_length**2 / coarseness


@relation(
    "crowding_number = 2/3*aspect_ratio**2*fibre_volume_fraction",
    source="DODSON_NOTES",
    where="crowding number by volume",
    status="published",
)
def crowding_number_volume(fibre_volume_fraction: Num, aspect_ratio: Num) -> Num:
    """Fibres in the sphere one fibre length across, from swollen volume.

    Picture: as `crowding_number`, counted by volume. Use for: synthetic fibres of known diameter.
    Not for: pulp, whose swollen volume is poorly known. In print: as here. Made from: geometry.
    """
    return 2.0 / 3.0 * aspect_ratio**2 * fibre_volume_fraction


@derived("consistency = 6*crowding_number*coarseness/(pi*density*fibre_length**2)", where="inverse of crowding_number")
def consistency_crowding(crowding_number: Num, density: Num, fibre_length: Num, coarseness: Num) -> Num:
    """Consistency at which the stock has a wanted crowding number.

    Picture: how far to dilute until only so many fibres share one sphere. Use for: a first guess of headbox
    consistency (N near 16). Not for: a promise of formation. Made from: `crowding_number` turned round.
    """
    return 6.0 * crowding_number * coarseness / (np.pi * density * fibre_length**2)


@relation(
    "consistency = crowding_number*coarseness/(500*fibre_length**2)",
    source="KEREKES_SCHELL_1992",
    status="from memory",
    in_units={"fibre_length": "m", "coarseness": "kg/m"},
)
def consistency_kerekes(crowding_number: Num, fibre_length: Num, coarseness: Num) -> Num:
    """Consistency for a wanted crowding number in the form with the rounded constant.

    Picture: as `consistency_crowding`. Use for: literature in this form. Not for: new work.
    In print: the inverse of 5.0 C λ²/δ with C in percent. Made from: `crowding_number_kerekes` turned round.
    """
    return crowding_number * coarseness / (500.0 * fibre_length**2)


@relation(
    "contacts_per_fibre = 3*crowding_number/aspect_ratio",
    source="DODSON_NOTES",
    where="mean number of contacts",
    status="published",
)
def contacts_per_fibre(crowding_number: Num, aspect_ratio: Num) -> Num:
    """Mean number of other fibres that a fibre touches.

    Picture: three contacts hold a fibre bent, and a floc stays together. Use for: teaching why N = 60 is
    stiff.
    Not for: strength of flocs. In print: 3N/A, equal to 2 A c_v. Made from: chance contacts of straight
    rods.
    """
    return 3.0 * crowding_number / aspect_ratio


@relation(
    """
    free = where(crowding_number >= 1, 1, 0)
    connected = where(crowding_number >= 16, 1, 0)
    crowding_regime = free + connected + where(crowding_number >= 60, 1, 0)
    """,
    source="CELZARD_2009",
    where="abstract (bounds 16 and 60); the bound 1 is common practice",
    status="published",
    holds={"crowding_number": (1.0, 130.0)},
)
def crowding_regime(crowding_number: Num) -> Num:
    """How many of the bounds 1, 16 and 60 are reached: 0 dilute, 1 below the gel point, 2 connected, 3 rigid.

    Picture: 0 fibres free; 1 meeting now and then; 2 one connected but mobile web; 3 flocs that hold
    together.
    Use for: words beside a crowding number. Not for: a sharp switch: the change is gradual.
    In print: 16 gel point (first found by Martinez and others, 2001), 60 rigidity threshold; mobility drops
    and flocs cohere for 60 < N < 130 (Kerekes and Schell 1990). Made from: wood pulps.
    """
    return np.searchsorted(np.array([1.0, 16.0, 60.0]), crowding_number, side="right")


@derived("coarseness = 1/sum(share/coarseness)", where="all fibre mass over all fibre length")
def coarseness_blend(share: Num, coarseness: Num) -> Num:
    """Coarseness of a blend: all its mass over all its length.

    Picture: lay all fibres end to end and weigh the line. Use for: furnish of several fibres by dry mass.
    Not for: fines given only by mass. (share and coarseness: components on the last axis.) Made from:
    definition.
    """
    return 1.0 / np.sum(share / coarseness, axis=-1)


@derived("fibre_length = sum(share*fibre_length/coarseness)/sum(share/coarseness)", where="length-weighted mean")
def fibre_length_blend(share: Num, fibre_length: Num, coarseness: Num) -> Num:
    """Length-weighted mean fibre length of a blend.

    Picture: point at the line of all fibres laid end to end; how long is the fibre you hit, on average?
    Use for: crowding. Not for: the arithmetic mean that counts every short piece as one.
    (components on the last axis) Made from: definition.
    """
    weight = share / coarseness
    return np.sum(weight * fibre_length, axis=-1) / np.sum(weight, axis=-1)


@derived(
    "crowding_number = pi/6*consistency*density*sum(share*fibre_length**2/coarseness)",
    where="component crowding numbers added",
    holds={"consistency": _CONSISTENCY},
)
def crowding_number_blend_sum(consistency: Num, density: Num, share: Num, fibre_length: Num, coarseness: Num) -> Num:
    """Crowding numbers of the components added: an upper bound for the blend.

    Picture: each fibre sweeps its own sphere. Use for: bounding `crowding_number` of the blended length and
    coarseness from above; it lies 0 to 30 % higher. Not for: the regime bounds, which were found with means.
    (components on the last axis of share, fibre_length, coarseness) Made from: geometry.
    """
    return np.pi / 6.0 * consistency * density * np.sum(share * fibre_length**2 / coarseness, axis=-1)


@derived("fibre_grammage = coarseness/fibre_width", where="definition")
def fibre_grammage(coarseness: Num, fibre_width: Num) -> Num:
    """Mass per projected area of one fibre.

    Picture: the grammage of a sheet exactly one fibre thick. Use for: how many fibres thick a sheet is.
    Not for: fines. In print: symbol β. Made from: definition.
    """
    return coarseness / fibre_width


@derived("fibre_grammage = 1/sum(share/fibre_grammage)", where="coverages add")
def fibre_grammage_blend(share: Num, fibre_grammage: Num) -> Num:
    """Fibre grammage of a blend: the one that gives the blend's coverage.

    Picture: the coverages of the components add. Use for: coverage of a furnish. Not for: variance, which
    `network.cv_random_blend` adds by mass. (components on the last axis) Made from: derivation.
    """
    return 1.0 / np.sum(share / fibre_grammage, axis=-1)


@derived("coarseness = wall_density*pi*wall_thickness*(fibre_diameter - wall_thickness)", where="ring of wall")
def coarseness_wall(fibre_diameter: Num, wall_thickness: Num, wall_density: Num) -> Num:
    """Coarseness from the fibre's cross-section, a ring of wall.

    Picture: cut a tube and weigh a metre of it; the wall must not exceed half the diameter.
    Use for: judging whether a stated coarseness is plausible. Not for: replacing a measured one.
    Made from: geometry.
    """
    return wall_density * np.pi * wall_thickness * (fibre_diameter - wall_thickness)


@derived("fibre_width = pi/2*(fibre_diameter - wall_thickness)", where="half the mid-wall circumference")
def fibre_width_collapsed(fibre_diameter: Num, wall_thickness: Num) -> Num:
    """Width of a fibre pressed flat: half of its mid-wall circumference.

    Picture: a tube trodden into a ribbon. Use for: thin-walled pulp fibres. Not for: thick-walled summerwood,
    bast or staple, which stay round. Made from: geometry.
    """
    return np.pi / 2.0 * (fibre_diameter - wall_thickness)


@derived(
    "suspension_depth = grammage/(consistency*density*retention)",
    where="fibre balance of the wire",
    holds={"consistency": _CONSISTENCY},
)
def suspension_depth(grammage: Num, consistency: Num, density: Num, retention: Num) -> Num:
    """Depth of stock used for the sheet, the same as m³ of stock per m² of sheet.

    Picture: the column of stock that must drain through one square metre of wire.
    Use for: how many floc layers average out in one sheet. Not for: the depth that stands on the wire,
    which is equal only when jet and wire run alike and nothing has drained yet. Takes the grammage on the
    wire.
    Made from: mass balance.
    """
    return grammage / (consistency * density * retention)
