"""What the reel asks of every carrier of the sheet: the pass upwards, before the web runs down."""

from __future__ import annotations

from typing import NamedTuple

from thinstock.formula.traced import convention
from thinstock.machine.grade import Grade
from thinstock.relations import creping, jet, joints
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num


class Carried(NamedTuple):
    """A sheet as a carrier must bring it."""

    carrier: str
    speed: Num
    grammage: Num
    """Bone-dry, kg/m²."""


class Demand(NamedTuple):
    """Speed and bone-dry grammage on each carrier, and what is wanted at the reel."""

    wire: Carried
    felt: Carried
    dryer: Carried
    reel_speed: Num
    reel_grammage: Num
    """As sold, kg/m²."""
    reel_dryness: Num


def demand(grade: Grade, speed: Num, wire_draw: Num, felt_draw: Num) -> Demand:
    """From reel grammage, dryness and crepe to what must lie on dryer, felt and wire."""
    reel_speed = grade.reel_speed(speed)
    wire_speed = joints.speed_before_draw(speed, wire_draw)
    felt_speed = joints.speed_before_draw(speed, felt_draw)
    on_wire = jet.grammage_on_wire(grade.reel_grammage, grade.reel_dryness, reel_speed, wire_speed)
    on_felt = jet.grammage_on_wire(grade.reel_grammage, grade.reel_dryness, reel_speed, felt_speed)
    width_ratio = convention(1.0, phrase("machine.demand.equal_widths_yankee_reel"))
    on_yankee = creping.grammage_yankee(grade.reel_grammage, grade.reel_dryness, grade.crepe, width_ratio)
    return Demand(
        wire=Carried("wire", wire_speed, on_wire),
        felt=Carried("felt", felt_speed, on_felt),
        dryer=Carried("Yankee", speed, on_yankee),
        reel_speed=reel_speed,
        reel_grammage=grade.reel_grammage,
        reel_dryness=grade.reel_dryness,
    )
