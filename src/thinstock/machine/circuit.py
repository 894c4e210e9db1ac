"""The water circuits of a machine: which water feeds which shower, what is given back, and what goes down the drain.

A part behind all others: it takes what the run says of water and fibre and closes the circuits round it. Nothing of it
flows back into the run. Everything is per metre of width.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault, KernelRefused, Refused
from thinstock.machine.part import Part
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Choice, Fields, Num, Q

if TYPE_CHECKING:
    from thinstock.machine.circuit_closed import Closed
    from thinstock.machine.web import Around, Web

WATERS = ("fresh", "white", "cloudy", "clear")
SHOWERS = ("wire", "felt", "pit")
OTHER = ("clear", "cloudy", "white")
"""Waters of a shower besides fresh water."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Saveall(Fields):
    """A filter or flotation that gives fibre back and splits its water into cloudy and clear."""

    recovery: Annotated[Num, Q("recovery", possible=(0, 1), usual=(0.95, 0.995), unit="%")] = 0.98
    recovery_fines: Annotated[Num, Q("recovery", possible=(0, 1), usual=(0.6, 0.95), unit="%")] = 0.85
    recovered_consistency: Annotated[
        Num, Q("recovered_consistency", possible=(0.005, 0.3), unit="%", status="common practice",
               source="COMMON_PRACTICE")
    ] = 0.035  # fmt: skip
    cloudy_ratio: Annotated[Num, Q("cloudy_ratio", possible=(1, 50))] = 3.0


SHARE = Q("shower_share", possible=(0, 1), usual=ANY, unit="%", key="circuit.shower_share")


@dataclass(frozen=True, kw_only=True, eq=False)
class WaterCircuits(Part):
    """The circuits round the machine; left out, the run knows the short circulation alone."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        "limits": phrase("machine.circuit.what_lacks_is_refused"),
        "outline": phrase("machine.circuit.drawn_as_a_scheme"),
        "streams": phrase("machine.circuit.streams_of_their_own"),
    }

    pulp_dryness: Annotated[
        Num, Q("pulp_dryness", possible=(0.005, 1), unit="%", status="common practice", source="COMMON_PRACTICE")
    ] = 0.9
    pulp_temperature: Annotated[
        Num, Q("temperature", possible=(274.15, 368.15), usual=(293.15, 353.15), unit="degC")
    ] = 298.15
    dissolved_per_fibre: Annotated[Num, Q("dissolved_per_fibre", possible=(0, 0.3), unit="g/kg")] = 0.005
    fresh_dissolved: Annotated[Num, Q("fresh_dissolved", possible=(0, 0.05), unit="g/kg")] = 1e-4
    ash_share: Annotated[Num, Q("ash_share", possible=(0, 0.6), unit="%")] = 0.0
    retention_ash: Annotated[Num, Q("retention_ash", possible=(0.01, 1), unit="%")] = 0.3
    dilution_water: Annotated[str, Choice(WATERS)] = "white"
    wire_shower_clear: Annotated[Num, SHARE] = 0.0
    wire_shower_cloudy: Annotated[Num, SHARE] = 0.0
    wire_shower_white: Annotated[Num, SHARE] = 0.0
    felt_shower_clear: Annotated[Num, SHARE] = 0.0
    felt_shower_cloudy: Annotated[Num, SHARE] = 0.0
    felt_shower_white: Annotated[Num, SHARE] = 0.0
    pit_shower: Annotated[Num, Q("pit_shower_flow", possible=(0, 50), unit="kg/(s m)")] = 0.5
    pit_shower_clear: Annotated[Num, SHARE] = 0.0
    pit_shower_cloudy: Annotated[Num, SHARE] = 0.0
    pit_shower_white: Annotated[Num, SHARE] = 0.0
    seal_water: Annotated[Num, Q("seal_water_per_product", possible=(0, 200), unit="kg/kg")] = 3.0
    seal_recovered: Annotated[Num, Q("seal_recovered", possible=(0, 1), unit="%")] = 0.0
    chemical_water: Annotated[Num, Q("chemical_water_per_product", possible=(0, 100), unit="kg/kg")] = 1.0
    vacuum_recovered: Annotated[Num, Q("vacuum_recovered", possible=(0, 1), unit="%")] = 1.0
    felt_recovered: Annotated[Num, Q("felt_recovered", possible=(0, 1), unit="%")] = 1.0
    reject_recovered: Annotated[Num, Q("reject_recovered", possible=(0, 1), unit="%")] = 0.9
    press_loss_long: Annotated[Num, Q("press_loss", possible=(0, 0.5), unit="%")] = 0.0
    press_loss_fines: Annotated[Num, Q("press_loss", possible=(0, 0.5), unit="%")] = 0.0
    broke_share: Annotated[Num, Q("broke_share", possible=(0, 0.9), unit="%")] = 0.05
    broke_consistency: Annotated[
        Num, Q("broke_consistency", possible=(0.002, 0.3), unit="%", status="common practice", source="COMMON_PRACTICE")
    ] = 0.035
    broke_temperature: Annotated[
        Num, Q("temperature", possible=(274.15, 373.15), usual=(293.15, 353.15), unit="degC")
    ] = 313.15
    saveall: Saveall | None = None
    wire_nozzle_limit: Annotated[Num, Q("nozzle_solids", possible=(0, 0.05), unit="g/kg", limit=True)] = None
    felt_nozzle_limit: Annotated[Num, Q("nozzle_solids", possible=(0, 0.05), unit="g/kg", limit=True)] = None
    air_saturation: Annotated[Num, Q("air_saturation", possible=(0, 1), unit="%")] = 1.0
    chest_energy: Annotated[Num, Q("specific_energy", possible=(0, 5e6), usual=(1e4, 7.2e5), unit="kWh/t")] = 180e3
    seal_heat_share: Annotated[Num, Q("seal_heat_share", possible=(0, 1), unit="%")] = 0.8
    pit_loss: Annotated[Num, Q("loss_coefficient", possible=(0, 1e5), unit="W/(K m)")] = 0.0
    chest_mass: Annotated[Num, Q("tank_mass", possible=(1, 1e8), unit="t")] = 1e5
    pit_mass: Annotated[Num, Q("tank_mass", possible=(1, 1e8), unit="t")] = 1e5
    clear_mass: Annotated[Num, Q("tank_mass", possible=(1, 1e8), unit="t")] = 6e4
    cloudy_mass: Annotated[Num, Q("tank_mass", possible=(1, 1e8), unit="t")] = 4e4
    broke_mass: Annotated[Num, Q("tank_mass", possible=(1, 1e8), unit="t")] = 1e5

    def rules(self) -> Iterable[Fault]:
        for shower in SHOWERS:
            total = sum(self.from_other(shower, water) for water in OTHER)
            if np.any(np.asarray(total) > 1 + 1e-9):
                yield fault_in("circuits.shower", f"{shower}_shower_clear", f"{float(np.max(total)) * 100:.4g} %")
            for water in ("clear", "cloudy"):
                if self.saveall is None and np.any(np.asarray(self.from_other(shower, water)) > 0):
                    yield fault_in("circuits.no_saveall", f"{shower}_shower_{water}", "", water=water)
        if self.saveall is None and self.dilution_water in ("clear", "cloudy"):
            yield fault_in(
                "circuits.no_saveall", "dilution_water", repr(self.dilution_water), water=self.dilution_water
            )

    def from_other(self, shower: str, water: str) -> Num:
        """Share of a shower that is clear, cloudy or white water."""
        share: Num = getattr(self, f"{shower}_shower_{water}")
        return share

    def run(self, web: Web, around: Around) -> tuple[Web, Closed]:
        """The circuits closed round what the other parts did; the web is past them."""
        from thinstock.machine.circuit_closed import closed

        try:
            return web, closed(self, web, around)
        except KernelRefused as refused:
            here = Refused(_at_home(fault, self) for fault in refused.faults)
            here.cases = refused.cases
            raise here from None

    def cautions(self) -> Iterable[str]:
        """Pits, high pressure, hot water."""
        return ("circulation",)


HOMES = {"wire_shower": "wire_shower", "felt_shower": "felt_shower", "pit_shower": "pit_shower"}


def _at_home(fault: Fault, circuits: WaterCircuits) -> Fault:
    """A fault of the balance at the field of the machine file that brings it."""
    field = fault.field
    if field in HOMES:
        most = max(OTHER, key=lambda water: float(np.max(circuits.from_other(field.partition("_")[0], water))))
        field = f"{field}_{most}"
    if field in ("recovery", "recovered_consistency", "cloudy_ratio"):
        field = f"saveall.{field}"
    home = f"circuit.{field}" if hasattr(circuits, field.partition(".")[0]) else f"circuit ({field})"
    return Fault(field=home, value=fault.value, bound=fault.bound, remedy=fault.remedy)
