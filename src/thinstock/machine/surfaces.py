"""Surfaces of press rolls: plain, grooved, blind drilled, suction drilled."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.machine.outlines import press as drawn
from thinstock.machine.outlines.press import RollPlace
from thinstock.machine.outlines.shape import Shape
from thinstock.machine.part import Kind
from thinstock.machine.told import Drawn
from thinstock.relations import felt, joints, pumping, vacuum
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Num, Q


class Surface(Kind, base=True):
    """The surface of a press roll: what voids it gives the felt's water, and the air it draws."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        "limits": phrase("machine.surfaces.felt_in_its_nip_has"),
        "streams": phrase("machine.surfaces.its_air_told_by_nip"),
    }

    @abstractmethod
    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """What is seen of it in its roll."""

    def void(self) -> Num | None:
        """Void volume per area, m; None without voids."""
        return None

    def suction(self, void: Num | None, speed: Num, pressure: Num, header: Num = None) -> Drawn | None:
        """Air drawn through it, at the conditions of the pump (None: its own vacuum); None without suction."""
        return None


@dataclass(frozen=True, kw_only=True, eq=False)
class Plain(Surface):
    """A roll surface without voids."""

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """A smooth surface shows nothing but its roll."""
        return ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Grooved(Surface):
    """Grooves that take water out of the felt in the nip."""

    groove_width: Annotated[Num, Q("groove_width", possible=(1e-5, 0.02), unit="mm")] = 0.5e-3
    groove_depth: Annotated[Num, Q("groove_depth", possible=(1e-5, 0.05), unit="mm")] = 2.5e-3
    groove_pitch: Annotated[Num, Q("groove_pitch", possible=(1e-4, 0.05), unit="mm")] = 3.2e-3

    def void(self) -> Num:
        """Void volume of the grooves, m."""
        return felt.roll_void_grooved(self.groove_width, self.groove_depth, self.groove_pitch)

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """The ground of the grooves."""
        return drawn.voids(place, float(self.groove_depth))


@dataclass(frozen=True, kw_only=True, eq=False)
class BlindDrilled(Surface):
    """Blind holes that take water out of the felt in the nip."""

    hole_depth: Annotated[Num, Q("hole_depth", possible=(1e-4, 0.1), usual=(8e-3, 14e-3), unit="mm")] = 11e-3
    roll_open_area: Annotated[Num, Q("roll_open_area", possible=(0, 0.9), usual=(0.2, 0.3), unit="%")] = 0.25

    def void(self) -> Num:
        """Void volume of the holes, m."""
        return felt.roll_void_drilled(self.hole_depth, self.roll_open_area)

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """The ground of the holes."""
        return drawn.voids(place, float(self.hole_depth))


@dataclass(frozen=True, kw_only=True, eq=False)
class SuctionDrilled(Surface):
    """A drilled shell over a suction box."""

    roll_open_area: Annotated[Num, Q("roll_open_area", possible=(0, 0.9), usual=(0.2, 0.27), unit="%")] = 0.23
    shell_thickness: Annotated[Num, Q("hole_depth", possible=(1e-3, 0.2), usual=(0.03, 0.09), unit="mm")] = 0.05
    vacuum: Annotated[Num, Q("vacuum", possible=(0, 9e4), usual=(4e4, 6.5e4), unit="kPa", status="common practice")] = (
        50e3
    )
    zone_start: Annotated[Num, Q("angle", possible=(-np.pi, np.pi), unit="deg", usual=ANY)] = float(np.radians(-25.0))
    zone_end: Annotated[Num, Q("angle", possible=(-np.pi, np.pi), unit="deg", usual=ANY)] = float(np.radians(10.0))
    leakage_share: Annotated[Num, Q("leakage_share", possible=(0, 20))] = 1.0
    efficiency: Annotated[Num, Q("efficiency", possible=(0.05, 1), usual=(0.4, 0.75), status="from memory")] = 0.50

    def void(self) -> Num:
        """Void volume of the shell's holes, m."""
        return felt.roll_void_drilled(self.shell_thickness, self.roll_open_area)

    def suction(self, void: Num | None, speed: Num, pressure: Num, header: Num = None) -> Drawn:
        """Air carried by the shell's holes, and what leaks."""
        shell = vacuum.ambient_air_flow_shell(void, speed, self.vacuum, pressure)
        air = joints.air_flow_with_leakage(shell, self.leakage_share)
        at_pump = self.vacuum if header is None else header
        flow = vacuum.air_flow_at_vacuum(air, pressure, at_pump)
        power = pumping.vacuum_power_isothermal(flow, pressure, at_pump, self.efficiency)
        return Drawn(of="", flow=flow, vacuum=at_pump, power=power)

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """The inside of the shell and the suction box."""
        return drawn.suction_zone(place, float(self.shell_thickness), float(self.zone_start), float(self.zone_end))


SURFACES: dict[str, type[Surface]] = {
    "plain": Plain,
    "grooved": Grooved,
    "blind drilled": BlindDrilled,
    "suction drilled": SuctionDrilled,
}
