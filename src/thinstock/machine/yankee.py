"""The Yankee as a dryer: shell, steam, contact, and how the sheet lies on it.

A Yankee is a pressure vessel. What it may carry (steam pressure, line load) stands in its certificate; here those are
limits someone typed in, or "not given". Nothing here derives, checks or extends them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from thinstock.errors import Fault
from thinstock.machine.outlines.dry import OnYankee
from thinstock.machine.outlines.said import in_unit, joined, told, written
from thinstock.machine.outlines.shape import Outline, ring, roll
from thinstock.relations import contact_drying
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Choice, Fields, Num, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Yankee(Fields):
    """The drying cylinder."""

    speed: Annotated[
        Num,
        Q(
            "yankee_speed",
            possible=(0.05, 60),
            unit="m/min",
            status="required",
        ),
    ]
    diameter: Annotated[Num, Q("yankee_diameter", possible=(0.5, 9), unit="m", status="assumed")] = 5.5
    width: Annotated[Num, Q("face_width", possible=(0.1, 12), usual=(2.4, 8.5), unit="m")] = 5.6
    wrap: Annotated[
        Num, Q("wrap", possible=(0.3, 6.2), usual=(4.19, 4.72), unit="deg", status="assumed", source="PADLEY_CREPING")
    ] = 4.5239
    steam_pressure: Annotated[
        Num,
        Q(
            "steam_pressure",
            possible=(1.02e5, 1.6e6),
            unit="bar(a)",
            status="required",
        ),
    ] = 8e5
    steam_pressure_limit: Annotated[
        Num, Q("steam_pressure_limit", possible=(1.02e5, 2.5e6), unit="bar(a)", limit=True, hurts=True)
    ] = None
    certificate: Annotated[str, Words()] = ""
    speed_limit: Annotated[Num, Q("yankee_speed", possible=(0.05, 60), unit="m/min", limit=True, hurts=True)] = None
    shell_thickness: Annotated[Num, Q("shell_thickness", possible=(5e-3, 0.1), unit="mm", status="from memory")] = 0.030
    conductivity: Annotated[
        Num, Q("conductivity", possible=(5, 120), usual=(42, 52), unit="W/(m K)", status="from memory")
    ] = 48.0
    condensate_coefficient: Annotated[
        Num, Q("condensate_coefficient", possible=(100, 1e5), usual=(5e3, 2e4), unit="W/(m2 K)")
    ] = 1e4
    contact_coefficient_dry: Annotated[Num, Q("contact_coefficient_dry", possible=(10, 1e4), unit="W/(m2 K)")] = 450.0
    contact_coefficient_wet: Annotated[Num, Q("contact_coefficient_wet", possible=(10, 2e4), unit="W/(m2 K)")] = 1800.0
    moisture_scale: Annotated[Num, Q("moisture_scale", possible=(0.01, 10), unit="kg/kg")] = 0.5
    contact_level: Annotated[Num, Q("contact_level", possible=(0.05, 10))] = 1.0
    isotherm: Annotated[str, Choice(("Heikkilä", "Tryding"))] = "Tryding"
    drying_zone: Annotated[Num, Q("drying_zone", possible=(1e-4, 5e-3), unit="mm")] = 5e-4
    uneven_variance: Annotated[Num, Q("uneven_variance", possible=(0, 0.2499), optional=True)] = None
    bare_coefficient: Annotated[Num, Q("bare_coefficient", possible=(0, 200), unit="W/(m2 K)")] = 15.0
    head_loss_share: Annotated[Num, Q("share", possible=(0, 0.5), usual=(0.0, 0.06), unit="%")] = 0.03
    coating_water: Annotated[Num, Q("coating_water", possible=(0, 0.05), unit="g/m2")] = 0.0
    coating_temperature: Annotated[Num, Q("coating_temperature", possible=(274.15, 373.15), unit="degC")] = 313.15
    doctor_friction: Annotated[Num, Q("friction_coefficient", possible=(0, 1), usual=(0.2, 0.3))] = 0.25
    doctor_load: Annotated[Num, Q("blade_load", possible=(0, 2e4), usual=(1e3, 3e3), unit="kN/m")] = 2e3
    motor_efficiency: Annotated[Num, Q("efficiency", possible=(0.3, 1), usual=(0.88, 0.97))] = 0.93
    boiler_efficiency: Annotated[Num, Q("boiler_efficiency", possible=(0.2, 1.05))] = 0.90
    distribution_efficiency: Annotated[Num, Q("distribution_efficiency", possible=(0.3, 1.0))] = 0.95

    def rules(self) -> Iterable[Fault]:
        limit = self.steam_pressure_limit
        if limit is not None and np.any(np.asarray(self.steam_pressure) > np.asarray(limit)):
            yield fault_in(
                "machine.yankee.steam_pressure",
                "steam_pressure",
                f"{float(np.max(self.steam_pressure)) / 1e5:.4g} bar(a)",
                limit=f"{float(np.min(limit)) / 100000.0:.4g}",
            )
        if np.any(np.asarray(self.shell_thickness) >= np.asarray(self.diameter) / 2):
            yield fault_in("machine.yankee.shell_thickness", "shell_thickness", str(self.shell_thickness))

    def shell_resistance(self) -> Num:
        """Resistance of the shell on its outer surface, m² K/W."""
        return contact_drying.shell_resistance_cylinder(self.diameter, self.shell_thickness, self.conductivity)

    def contact(self) -> tuple[Num, Num]:
        """Contact coefficients, dry and wet, at the calibration level, W/(m² K)."""
        dry = self.contact_level * self.contact_coefficient_dry
        wet = self.contact_level * self.contact_coefficient_wet
        return dry, wet

    def outline(self, place: OnYankee) -> Outline:
        """The shell."""
        limit, surface, steam = phrase("drawing.limit_unknown"), "", told(self, "steam_pressure")
        if self.steam_pressure_limit is not None:
            limit = phrase("drawing.limit", limit=told(self, "steam_pressure_limit"))
        if place.surface_temperature is not None:
            outside = written("surface_temperature", place.surface_temperature)
            surface, steam = phrase("drawing.dry.shell", temperature=outside), in_unit(place.steam_pressure, "bar(a)")
        text = joined(
            phrase("drawing.across", diameter=told(self, "diameter")),
            told(self, "speed"),
            joined(phrase("drawing.dry.steam", pressure=steam), limit),
            surface,
            phrase("drawing.dry.vessel"),
        )
        name, circle = phrase("drawing.part.yankee"), place.circle
        inside = ring(circle, circle.radius - float(self.shell_thickness), "shell inside")
        return Outline(
            part="yankee", name=name, label=name, text=text, anchor=circle.centre.beside(0.6, 0.4),
            shapes=(*roll(circle, "shell"), inside),
        )  # fmt: skip
