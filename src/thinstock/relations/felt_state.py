"""What age, squeezing and vacuum do to a felt: its resistance, its free room in the nip, what its boxes can take.

Air tests of a felt off the machine say little of a running one: openness and the water its boxes leave are to be had
from a felt scan and the air at the box. Break-in and plugging themselves are not modelled.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation


@derived(
    "felt_resistance = felt_resistance_new/felt_openness",
    where="definition of openness; 0.6 is assumed, range 0.3 to 1",
    holds={"felt_openness": (0.03, 1.0)},
)
def felt_resistance_aged(felt_resistance_new: Num, felt_openness: Num) -> Num:
    """Viscous resistance of a free felt that has run for a while.

    Picture: pores half shut pass half as much. Use for: age as one number, found from the air at the box. Not for:
    the course of ageing: break-in, long rest, then compaction after about a million nips and plugging. In print: that
    course, without numbers. Made from: openness = new over present resistance.
    """
    return felt_resistance_new / felt_openness


@derived(
    "felt_inertia = felt_inertia_new/felt_openness**2",
    where="drop at equal share of the pores' speed",
    holds={"felt_openness": (0.03, 1.0)},
)
def felt_inertia_aged(felt_inertia_new: Num, felt_openness: Num) -> Num:
    """Inertial resistance of a free felt that has run for a while, in dynamic pressures.

    Picture: half the open pores, twice the speed in them, four times the dynamic pressure. Use for: air at the boxes.
    Not for: water in the nip, which creeps. In print: nothing. Made from: dynamic pressure goes with speed squared.
    """
    return felt_inertia_new / felt_openness**2


@relation(
    """closer = sqrt(solidity/free_solidity)
        felt_resistance_squeezed = felt_resistance*closer*(1 + 56*solidity**3)/(1 + 56*free_solidity**3)""",
    source="DAVIES_1952",
    where="fibrous pad law with the constant 56, the same mass on less height",
    status="derived",
    holds={"free_solidity": (0.2, 0.5), "solidity": (0.4, 0.8)},
)
def felt_resistance_squeezed(felt_resistance: Num, free_solidity: Num, solidity: Num) -> Num:
    """Viscous resistance of a felt as squeezed in the nip, from that of the free felt.

    Picture: less height to pass but much narrower pores. Use for: press impulse spent in the felt. Not for: air at
    the boxes. In print: the pad law; free solidity 0.38 (0.33 to 0.43) is assumed. Made from: height over
    permeability of a pad of fibres at two solidities.
    """
    closer = np.sqrt(solidity / free_solidity)
    return felt_resistance * closer * (1.0 + 56.0 * solidity**3) / (1.0 + 56.0 * free_solidity**3)


@derived("felt_room = felt_grammage*max(felt_saturated_ratio - felt_moisture_ratio, 0)", where="water balance")
def felt_room_free(felt_grammage: Num, felt_saturated_ratio: Num, felt_moisture_ratio: Num) -> Num:
    """Water that a squeezed felt can still take up in the nip, per area.

    Picture: the empty part of the bucket. Use for: one felt of a nip. Not for: voids of the roll behind it. In print:
    nothing. Made from: what fills it less what it brings; 0 where it comes full.
    """
    return felt_grammage * np.maximum(felt_saturated_ratio - felt_moisture_ratio, 0.0)


@derived("felt_saturation = min(1, felt_moisture_ratio/free_saturated_ratio)", where="definition")
def felt_saturation_free(felt_moisture_ratio: Num, free_saturated_ratio: Num) -> Num:
    """Share of the free felt's voids that is full of water.

    Picture: what is not water is open to air. Use for: air through the felt at its boxes. Not for: the squeezed felt.
    In print: nothing. Made from: the definition.
    """
    return np.minimum(1.0, felt_moisture_ratio / free_saturated_ratio)


# --- what vacuum takes out


@relation(
    """p = max(vacuum, 0)
        at_vacuum = felt_end_reference*(vacuum_reference/p)**retention_exponent
        felt_end_ratio = where(p > 0, min(free_saturated_ratio, at_vacuum), free_saturated_ratio)""",
    source="BROOKS_COREY_1964",
    where="form of retention against suction; 0.42 at 45 kPa by felt scan, exponent 0.3 (0.1 to 0.6) assumed",
    status="assumed",
    holds={"retention_exponent": (0.05, 1.0)},
)
def felt_end_ratio_vacuum(
    felt_end_reference: Num, vacuum: Num, vacuum_reference: Num, retention_exponent: Num, free_saturated_ratio: Num
) -> Num:
    """Water per dry felt that a box leaves, however long, at another vacuum than the reference.

    Picture: more suction empties finer pores, less and less; no suction leaves the felt full. Use for: boxes and felt
    vacuum of one felt. Not for: another felt. In print: the power law for soils. Made from: one reading of a felt
    scan and an exponent.
    """
    p = np.maximum(vacuum, 0.0)
    sucked = np.where(p > 0.0, p, vacuum_reference)
    at_vacuum = felt_end_reference * (vacuum_reference / sucked) ** retention_exponent
    return np.where(p > 0.0, np.minimum(free_saturated_ratio, at_vacuum), free_saturated_ratio)[()]


@derived(
    """pulled = vacuum/vacuum_reference
        drain_rate = pulled*felt_resistance_reference/felt_resistance/time_constant_reference""",
    where="Darcy: time goes with resistance over pressure; 1.3 ms at 45 kPa assumed",
)
def felt_drain_rate(
    time_constant_reference: Num,
    vacuum: Num,
    vacuum_reference: Num,
    felt_resistance: Num,
    felt_resistance_reference: Num,
) -> Num:
    """How fast a box empties a felt, as one over its time constant; 0 without vacuum.

    Picture: twice the pull, twice as fast; a felt half plugged, half as fast. Use for: boxes and felt vacuum of one
    felt. Not for: capillary hold, which the end ratio has. In print: nothing. Made from: a reference time scaled.
    """
    return vacuum / vacuum_reference * felt_resistance_reference / felt_resistance / time_constant_reference


@derived("time_constant = 1/drain_rate", where="definition", holds={"drain_rate": (1.0, 1e4)})
def felt_time_constant(drain_rate: Num) -> Num:
    """Time constant of a box from its rate, as the felt's loop takes it; without end where there is no vacuum.

    Picture: the time to take out all but a third of what can be taken. Use for: the loop. Not for: several boxes of
    different vacuum at once. In print: nothing. Made from: the definition.
    """
    with np.errstate(divide="ignore"):
        return np.divide(1.0, drain_rate)
