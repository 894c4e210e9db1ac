"""The machine of a scene, run at what the scene asks: bundled or from the workspace, exchanged, changed, at a pace."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from thinstock import library
from thinstock.case.library import machine_names
from thinstock.case.overrides import changed
from thinstock.case.read import load, loads
from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.lesson.model import Source
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies import exchange
from thinstock.tell.teller import Teller
from thinstock.words import address

if TYPE_CHECKING:
    from thinstock.machine.disturbed import Indicator
    from thinstock.sheet.formation import Formation

Files = Callable[[str], str]
"""Text of a machine file of the workspace by its name."""
SPEED = "speed"
"""Stands for the speed of the wire's machine, wherever it has its address."""


@lru_cache(maxsize=64)
def _of_text(content: str, name: str) -> Machine:
    return loads(content, name)


@lru_cache(maxsize=64)
def _bundled(name: str) -> Machine:
    return load(name)


@lru_cache(maxsize=64)
def _exchanged(machine: Machine, former: str, press: str) -> Machine:
    if former:
        word = former if former in exchange.formers() else library.former_file(former)["former"]
        machine = exchange.with_former(machine, word).machine
    return exchange.with_press(machine, press).machine if press else machine


def former_key(machine: Machine) -> str:
    """The library's key of a machine's former, empty where it has one of its own."""
    try:
        return library.key_of(machine.forming.former)
    except Refused:
        return ""


def machine_of(source: Source, files: Files | None = None, more: Mapping[str, str] | None = None) -> Machine:
    """The machine of a source with everything asked of it; all that is wrong is refused."""
    if source.machine in machine_names() or files is None:
        machine = _bundled(source.machine)
    else:
        machine = _of_text(files(source.machine), source.machine)
    machine = _exchanged(machine, source.former, source.press)
    if source.pace:
        machine = _paced(machine, source.pace)
    asked = {placed(machine, where): text for where, text in (*source.set.items(), *(more or {}).items())}
    return changed(machine, [f"{where}={text}" for where, text in asked.items()])


def placed(machine: Machine, where: str) -> str:
    """An address, with the short word for the machine's speed spelt out."""
    return machine.speed_address if where == SPEED else address.resolve(machine, where)


def _paced(machine: Machine, pace: str) -> Machine:
    """At a speed, with the stock and the wire's tension of its former's own time."""
    era = library.era(former_key(machine))
    if era is None:
        return machine
    values = {machine.speed_address: getattr(era, f"speed_{pace}"), "headbox.consistency": era.consistency_usual}
    if era.fabric_tension is not None:
        values["forming.wire.fabric_tension"] = era.fabric_tension
    return machine.with_(values)


@dataclass(frozen=True, eq=False)
class Subject:
    """A machine run, and what a scene asks of it, each worked out once when first asked for."""

    machine: Machine
    label: str = ""
    light: str = ""
    _kept: dict[str, object] = field(default_factory=dict)

    @cached_property
    def result(self) -> Result:
        """The run."""
        with worksheet(False):
            return self.machine.run()

    @cached_property
    def slow(self) -> Result:
        """The run with a mat that resists most."""
        from thinstock.studies.ladder import BAND

        with worksheet(False):
            return self.machine.with_({"stock.resistance_factor": BAND[1]}).run()

    @cached_property
    def teller(self) -> Teller:
        """The same as something to tell of."""
        return Teller(self.machine, result=self.result)

    @cached_property
    def indicators(self) -> dict[str, Indicator]:
        """What disturbs the sheet on its former, by name."""
        from thinstock.machine.disturbed import Half, disturbed

        formed = self.result.wet.formed
        with worksheet(False):
            found = disturbed(formed.part, Half.formed(formed), float(self.result.wet.wire_speed))
        return {one.name: one for one in found}

    @cached_property
    def sheet(self) -> Formation:
        """Formation of the sheet on the wire, between the best and the worst headbox."""
        from thinstock.machine.evenness import ends_of, furnish_of
        from thinstock.sheet.formation import formation

        parts, wanted = self.result.parts, self.machine.grade.formation_target
        more = {} if wanted is None else {"zone": wanted.zone, "hole_diameter": wanted.hole_diameter}
        with worksheet(False):
            return formation(
                furnish_of(self.machine), parts.loop.into.fibre, self.machine.headbox.consistency,
                **ends_of(self.machine.stock)["base"].words(), retention=parts.loop.state.retention,
                density=parts.loop.around.water.density, **more,
            )  # fmt: skip

    def result_label(self, name: str) -> str:
        """How a number of the run is called."""
        from thinstock.tell.asked import about

        return about(name).label

    @cached_property
    def fresh(self) -> Result:
        """The same run once more, to be listened to."""
        return self.machine.run()
