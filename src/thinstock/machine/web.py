"""The state that moves down the machine, and what a part may know besides.

A part is given a `Web` and an `Around` and nothing else: no part reaches for another part of the machine. What one
part must know of another travels with the web, or is left in `Around` by the part before it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.demand import Carried, Demand
    from thinstock.machine.evenness import EvennessField
    from thinstock.machine.felt import RunningFelt
    from thinstock.machine.furnish import Furnish
    from thinstock.machine.part import Done
    from thinstock.machine.press_law import PressLaw
    from thinstock.machine.site import Site
    from thinstock.machine.stock import Retention, Stock, Water
    from thinstock.machine.vacuum import Slot


S = TypeVar("S")


def changed(state: S, changes: Mapping[str, object]) -> S:
    """Another state with some fields changed: what `dataclasses.replace` does, at a tenth of its time."""
    new = object.__new__(type(state))
    new.__dict__.update(state.__dict__)
    for name, value in changes.items():
        if name not in state.__dict__:
            raise TypeError(f"{type(state).__name__} has no field {name!r}")
        new.__dict__[name] = value
    return new


class Free(NamedTuple):
    """Stock that is not drained yet, as it lies on the fabric (or flies towards it)."""

    consistency: Num
    retention: Num
    """Of all solids, first pass."""
    retained: Retention
    """The same of long fibre and of fines."""
    depth: Num
    """On the fabric, m."""
    jet_thickness: Num
    jet_speed: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class Web:
    """The sheet (or the stock that will be it) at one place; numbers, or arrays with one value per case."""

    fibre: Num
    """Bone-dry, with fines, at this speed, kg/m²."""
    fines_share: Num
    """Fines in the fibre."""
    moisture_ratio: Num
    """kg water per kg fibre: what the march, the vacuum and the press relations carry."""
    temperature: Num
    speed: Num
    width: Num
    dryness: Num = None
    """As a dryer says it; None before."""
    carrier: str
    """What it lies on: "jet", "wire", "felt", "Yankee", "dryer" or "reel"."""
    formed: Num = True
    """False where stock is left undrained; behind the former such a case is counted on and then left out."""
    free: Free | None = None
    """The stock that is not drained; None behind the former."""
    fabric_resistance: Num = 0.0
    """Viscous resistance of the fabric under it, 1/m."""
    fabric_inertia: Num = 0.0
    """Inertial resistance of it."""

    @property
    def water(self) -> Num:
        """Water, kg/m²."""
        return self.moisture_ratio * self.fibre

    @property
    def fines(self) -> Num:
        """Fines, kg/m²."""
        return self.fines_share * self.fibre

    @property
    def fibre_flow(self) -> Num:
        """Fibre with fines, kg/(s m)."""
        return self.fibre * self.speed

    @property
    def fines_flow(self) -> Num:
        """Fines, kg/(s m)."""
        return self.fines_share * self.fibre_flow

    @property
    def water_flow(self) -> Num:
        """Water, kg/(s m)."""
        return self.moisture_ratio * self.fibre_flow

    def onto(self, carried: Carried) -> Web:
        """The same sheet on the next carrier, drawn to its speed."""
        return self.with_(carrier=carried.carrier, speed=carried.speed, fibre=carried.grammage)

    def with_(self, **changes: Num) -> Web:
        """The web after a part has worked on it."""
        return changed(self, changes)


class FeltState(NamedTuple):
    """What the felt has met before it comes to the first nip."""

    uptake: Num = None
    """Water it took while the sheet was formed, kg/m²; None: none."""
    slot: Slot | None = None
    """The last suction through it."""


class LoopState(NamedTuple):
    """The white-water loop as the headbox finds it."""

    retention: Num
    """Of all solids, first pass."""
    retained: Retention
    """The same of long fibre and of fines."""
    reject_share: Num
    """Share of the fan pump's flow that the screens reject."""
    wire_shower: Num
    """kg/(s m)."""
    wire_shower_temperature: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class Around:
    """What a part may know besides the web."""

    site: Site
    stock: Stock
    """The furnish as fed, and how it drains."""
    water: Water
    """Water of the stock at the jet."""
    furnish: Furnish
    """Its state behind the headbox, the same from former to nip."""
    pressing: PressLaw
    """How the web gives up water under pressure, in a slot as in a nip."""
    press_felt: RunningFelt
    """The felt that carries the sheet to the press."""
    atmospheric_pressure: Num
    demand: Demand
    """What the reel asks of each carrier."""
    loop: LoopState | None = None
    press_partner: Num = None
    """Diameter of the cylinder the nips press against, m; None where a nip has a roll of its own."""
    boxes: tuple[Slot, ...] = ()
    """Slots under the wire behind the former: they form on where stock is left undrained."""
    felt: FeltState = FeltState()
    single: bool = True
    """One case with its working; else cases in arrays."""
    fast: bool = False
    """The coarse drying steps made for sweeps."""
    stride: float = 1.0
    """Length of the drainage steps: longer in sweeps."""
    chained: bool = False
    """Whether the cases follow one another in small steps: each drying then begins where the one before it ended."""
    among: NDArray[np.bool_] | None = None
    """The cases to dry; all if left out."""
    band: bool = False
    """Whether the former also marches a slow mat, for the band of its result."""
    evenness: EvennessField | None = None
    """How even the sheet is in zones of any size; known behind the former."""
    grammage_cv_across: Num = 0.0
    """Profile at the reel."""
    moisture_deviation: Num = 0.0
    """Profile behind the press, kg/kg."""
    headers: Mapping[str, Num] = field(default_factory=dict)
    """Vacuum at the pump by the name of what it serves; what is not named has its own vacuum there."""
    passed: tuple[Done, ...] = ()
    """What the parts before did; told to one that closes circuits round them."""
    hold: int = 0
    """What the dryer moves to hold the reel dryness: 0 nothing, 1 hood air, 2 steam pressure."""

    @property
    def resistance(self) -> Num:
        """Specific filtration resistance of the mat at 1 kPa, m/kg."""
        return self.furnish.resistance

    def with_(self, **changes: object) -> Around:
        """What later parts may know."""
        return changed(self, changes)
