"""What a consistency would mean for a grade on the bundled machine that suits it: water, depth, power, what gives out.

The figures the trade quotes as lowest are common practice without a source. They are worked out like any other, and
where no machine could supply or drain them the answer says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from thinstock import library
from thinstock.case import load
from thinstock.formula.label import worksheet
from thinstock.library import GradeRow
from thinstock.machine.line import Machine
from thinstock.relations import balance
from thinstock.studies import trials
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase


@dataclass(frozen=True, kw_only=True)
class Meaning:
    """One grade at one consistency and speed."""

    grade: str
    machine: str
    consistency: float
    speed: float
    flow_per_width: float
    water_per_fibre: float
    stock_depth: float
    fan_power: float
    """Shaft power of the fan pump, W per metre of width, with pipes wide enough for the flow."""
    drains: bool
    """True where the machine's former takes the water out."""
    exceeded: tuple[tuple[str, float], ...]
    """What supplies the jet and would be asked for more than its limit: how many times the limit, the worst first."""

    @property
    def possible(self) -> bool:
        """True where this machine could run it."""
        return self.drains and not self.exceeded

    def sentence(self) -> str:
        """What it means, in words."""
        flow, depth = self.flow_per_width * 60, self.stock_depth
        deep = f"{depth * 1e3:.3g} mm" if depth < 1 else f"{depth:.3g} m"
        water, pump = figure(self.water_per_fibre, 3), figure(self.fan_power / 1e3, 3)
        text = phrase(
            "studies.grades.at_m_min_m_min",
            grade=self.grade,
            consistency=f"{self.consistency * 100:.4g}",
            speed=f"{self.speed * 60:.0f}",
            flow=figure(flow, 3),
            water=water,
            deep=deep,
            pump=pump,
        )
        if self.possible:
            return text + phrase("studies.grades.bundled_machine_can_run_it")
        why = [
            phrase("studies.grades.would_be_asked_for_times", name=name, times=f"{times:.3g}")
            for name, times in self.exceeded[:2]
        ]
        if not self.drains:
            why.append(phrase("studies.grades.its_former_does_not_take"))
        return text + phrase("studies.grades.bundled_machine_cannot", why="; ".join(why))


def machine_of(grade: GradeRow) -> Machine:
    """The bundled machine that suits a grade, making that grade."""
    return load(grade.machine).with_(
        {
            "grade.reel_grammage": grade.reel_grammage_of_fibre,
            "grade.reel_dryness": grade.reel_dryness,
            "grade.crepe": grade.crepe,
        }
    )


def what_it_means(grade: str, *, consistency: float | None = None, speed: float | None = None) -> Meaning:
    """A grade at a consistency, the lowest quoted if none is given, at the bundled machine's speed if none is given."""
    row = library.grade(grade)
    machine = machine_of(row)
    at = row.lowest_quoted if consistency is None else consistency
    v = float(machine.speed) if speed is None else speed
    with worksheet(False):
        piped = machine.with_({machine.speed_address: v, "headbox.line_loss_flow": None})
        sheet = trials.sheet_of(piped)
        delivered = trials.delivery(sheet, piped, np.float64(v), np.float64(at))
        run = trials.trial(sheet, machine.forming, np.array([v]), at, machine.stock.resistance_factor)
        loads = [(cap.name, float(cap.load(delivered)) / cap.limit) for cap in trials.caps_of(piped, None)]
    over = sorted(((name, times) for name, times in loads if times > 1.0), key=lambda one: -one[1])
    return Meaning(
        grade=grade,
        machine=row.machine,
        consistency=float(at),
        speed=v,
        flow_per_width=float(delivered.flow_per_width),
        water_per_fibre=float(balance.water_per_fibre_stock(at)),
        stock_depth=float(delivered.stock_depth),
        fan_power=float(delivered.fan_power),
        drains=bool(run.formed[0]),
        exceeded=tuple(over),
    )
