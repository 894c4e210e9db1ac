"""What a part gives of its work: streams, stations, users of energy, air drawn. Ids, not sentences.

Everything is per metre of machine width. An id says what it is ("forming_water"), `of` whose it is ("forming roll");
the words people read are phrases looked up by the id.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thinstock.relations import humid_air
from thinstock.words.constants import fibre_heat_capacity_dry as C_FIBRE
from thinstock.words.constants import ice_point
from thinstock.words.constants import water_heat_capacity_sheet as C_WATER
from thinstock.words.phrase import known, phrase
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.web import Web

OUTSIDE = "outside"


def said(room: str, id: str, of: str = "") -> str:
    """The words of an id: its phrase, with the name of whose it is; the id itself where no phrase is needed."""
    key = f"{room}.{id}"
    if known(key):
        return phrase(key, of=of)
    return f"{id}: {of}" if of else id


@dataclass(frozen=True, kw_only=True, eq=False)
class Stream:
    """One stream: from node to node; fibre (with fines), water (with vapour), dry air in kg/(s m), heat in W/m.

    Heat is counted from liquid water, dry air and fibre at 0 °C.
    """

    id: str
    of: str = ""
    """The element, slot or nip it belongs to."""
    source: str
    sink: str
    fibre: Num = 0.0
    fines: Num = 0.0
    water: Num = 0.0
    air: Num = 0.0
    heat: Num = 0.0
    temperature: Num = None

    @property
    def name(self) -> str:
        """What tables and files call it."""
        return said("streams", self.id, self.of)


def wet_heat(fibre: Num, water: Num, temperature: Num) -> Num:
    """Heat of fibre and water, W/m."""
    return (fibre * C_FIBRE + water * C_WATER) * (temperature - ice_point)


def temperature_of(heat: Num, fibre: Num, water: Num) -> Num:
    """Temperature of fibre and water that hold this heat, K."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return ice_point + heat / (fibre * C_FIBRE + water * C_WATER)


@dataclass(frozen=True, kw_only=True, eq=False)
class Wet:
    """An amount of fibre, fines and water with its heat, kg/(s m) and W/m."""

    fibre: Num = 0.0
    fines: Num = 0.0
    water: Num = 0.0
    heat: Num = 0.0

    @classmethod
    def at(cls, temperature: Num, *, fibre: Num = 0.0, fines: Num = 0.0, water: Num = 0.0) -> Wet:
        """So much at a temperature."""
        return cls(fibre=fibre, fines=fines, water=water, heat=wet_heat(fibre, water, temperature))

    def __sub__(self, other: Wet | Stream) -> Wet:
        return Wet(
            fibre=self.fibre - other.fibre,
            fines=self.fines - other.fines,
            water=self.water - other.water,
            heat=self.heat - other.heat,
        )

    def __add__(self, other: Wet | Stream) -> Wet:
        return Wet(
            fibre=self.fibre + other.fibre,
            fines=self.fines + other.fines,
            water=self.water + other.water,
            heat=self.heat + other.heat,
        )

    def times(self, share: Num) -> Wet:
        """A share of it."""
        return Wet(fibre=share * self.fibre, fines=share * self.fines, water=share * self.water, heat=share * self.heat)

    def where(self, mask: Num) -> Wet:
        """This where the mask is true, nothing elsewhere."""
        return Wet(**{n: np.where(mask, getattr(self, n), 0.0)[()] for n in ("fibre", "fines", "water", "heat")})

    def stream(self, id: str, source: str, sink: str, *, of: str = "", temperature: Num = None) -> Stream:
        """As a stream; without a temperature it has the one its heat gives."""
        if temperature is None:
            temperature = temperature_of(self.heat, self.fibre, self.water)
        return Stream(
            id=id, of=of, source=source, sink=sink, fibre=self.fibre, fines=self.fines, water=self.water,
            heat=self.heat, temperature=temperature,
        )  # fmt: skip


def thrown(web: Web) -> Wet:
    """All that leaves the slice for this sheet: more fibre than stays, by what passes the wire."""
    free = web.free
    assert free is not None
    fines = web.fines_flow / free.retained.fines
    fibre = (web.fibre_flow - web.fines_flow) / free.retained.long + fines
    return Wet.at(web.temperature, fibre=fibre, fines=fines, water=fibre / free.consistency - fibre)


def air_stream(id: str, source: str, sink: str, dry: Num, humidity: Num, temperature: Num, of: str = "") -> Stream:
    """Humid air, counted by its dry air."""
    return Stream(
        id=id, of=of, source=source, sink=sink, water=dry * humidity, air=dry,
        heat=dry * humid_air.enthalpy_mixture(temperature, humidity), temperature=temperature,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """Air drawn by a vacuum pump: volume flow at suction conditions (m²/s), vacuum (Pa), shaft power (W/m)."""

    of: str
    flow: Num
    vacuum: Num
    power: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class Station:
    """The sheet (or stock) at one place; None where there is no sheet."""

    name: str
    dryness: Num = None
    moisture_ratio: Num = None
    grammage: Num = None
    temperature: Num = None
    speed: Num = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Use:
    """A user of energy: electricity, steam heat or gas, W/m."""

    id: str
    of: str = ""
    """The slot or nip it belongs to."""
    stage: str
    """forming, vacuum, press, evaporation or drives: who pays for the water."""
    kind: str
    """electricity, steam or gas."""
    power: Num

    @property
    def name(self) -> str:
        """What tables and files call it."""
        return said("consumers", self.id, self.of)


@dataclass(frozen=True, kw_only=True, eq=False)
class Consumer(Use):
    """A user of energy, and what it is per mass of product, J/kg."""

    per_mass: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class WaterPrice:
    """What one stage takes of the water, and at what price per kilogram."""

    stage: str
    water_per_fibre: Num
    share: Num
    energy_per_water: Num
    """J per kg water."""
    money_per_mass: Num
    """Money per kg of product; None where a price is not given."""
