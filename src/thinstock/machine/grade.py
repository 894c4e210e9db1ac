"""What is made: grammage as sold, dryness and crepe at the reel, and the evenness wanted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from thinstock.errors import Fault
from thinstock.relations import creping
from thinstock.words.fault import fault_in
from thinstock.words.quantity import ANY, Fields, Num, Q


@dataclass(frozen=True, kw_only=True, eq=False)
class FormationTarget(Fields):
    """The evenness wanted of the sheet on the wire; exactly one measure."""

    cv: Annotated[Num, Q("cv", possible=(0.005, 2), usual=(0.03, 0.4), optional=True)] = None
    formation_number: Annotated[Num, Q("formation_number", possible=(1, 100), usual=(1.02, 10), optional=True)] = None
    holes_per_area: Annotated[Num, Q("holes_per_area", possible=(0, 1e12), optional=True, usual=ANY)] = None
    zone: Annotated[Num, Q("zone", possible=(5e-5, 0.05), usual=(5e-4, 5e-3), unit="mm")] = 1e-3
    hole_diameter: Annotated[Num, Q("hole_diameter", possible=(0, 5e-3), usual=(5e-5, 1e-3), unit="µm")] = 1e-4

    def rules(self) -> Iterable[Fault]:
        given = [n for n in ("cv", "formation_number", "holes_per_area") if getattr(self, n) is not None]
        if len(given) != 1:
            yield fault_in("machine.grade.cv", "cv", f"{len(given)} measures given")


@dataclass(frozen=True, kw_only=True, eq=False)
class Grade(Fields):
    """The product as sold."""

    reel_grammage: Annotated[
        Num,
        Q(
            "reel_grammage",
            possible=(4e-3, 0.4),
            unit="g/m2",
            status="required",
        ),
    ]
    reel_dryness: Annotated[Num, Q("reel_dryness", possible=(0.5, 0.995), unit="%")] = 0.95
    crepe: Annotated[Num, Q("crepe", possible=(-0.05, 0.6), unit="%")] = 0.0
    formation_target: FormationTarget | None = None

    def reel_speed(self, yankee_speed: Num) -> Num:
        """Reel speed, m/s."""
        return creping.reel_speed_from_crepe(yankee_speed, self.crepe)
