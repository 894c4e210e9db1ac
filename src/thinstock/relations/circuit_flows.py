"""What is known of the water circuits of a tissue machine, and their flows by what each place asks for.

Part of `circuits`. Plain SI, per metre of width or for the whole machine:
the units of the flows given are those of the flows found.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.formula.record import InputRecord
from thinstock.relations.circulation_water import white_water_flow_dilution

NODES = (
    "chest", "mixing", "screens", "forming", "silo", "press", "felt", "pit", "saveall", "cloudy", "clear", "dryer",
    "broke",
)  # fmt: skip
"""Nodes in the order of the matrices."""
AT = {name: number for number, name in enumerate(NODES)}
OUTSIDE = "outside"
WATERS = ("fresh", "clear", "cloudy", "white")
"""Waters of a shower, in the order of its four flows."""
PLACES = ("silo", "felt", "pit")
"""Where showers of wire, felt and pit (rolls, trim, cleaning) end up."""


@dataclass(frozen=True, eq=False)
class TissueCircuit(InputRecord):
    """What is known of a machine before its circuits are closed.

    Flows in kg/s, or in kg/(s m) all of them; shares and dryness as fractions. Components (long fibre, fines, ash) on
    the last axis of `fresh_shares`, `retention`, `press_loss` and `recovery`. A shower is four flows: of fresh, clear,
    cloudy and white water. `web_solids` is the web that comes to the dryer. `dilution_water` thins the chest: one of
    "fresh", "clear", "cloudy", "white". Without a `saveall` clear and cloudy water do not exist.
    """

    web_solids: Num
    fresh_shares: Num
    retention: Num
    jet_consistency: Num
    thick_consistency: Num
    forming_dryness: Num
    vacuum_dryness: Num
    press_dryness: Num
    reel_dryness: Num
    reject_share: Num
    reject_recovered: Num
    press_loss: Num
    wire_shower: Any
    felt_shower: Any
    pit_shower: Any
    seal_water: Num
    seal_recovered: Num
    chemical_water: Num
    vacuum_recovered: Num
    felt_recovered: Num
    pulp_dryness: Num
    broke_share: Num
    broke_consistency: Num
    dilution_water: Literal["fresh", "clear", "cloudy", "white"]
    saveall: bool
    recovery: Num
    recovered_consistency: Num
    cloudy_ratio: Num
    dissolved_per_fibre: Num
    fresh_dissolved: Num


class CircuitStream(NamedTuple):
    """One stream: all of it, its water, its solids (components on the last axis), what is dissolved in it."""

    name: str
    source: str
    sink: str
    flow: Num
    water: Num
    solids: Num
    dissolved: Num


@dataclass(frozen=True, eq=False)
class Circuit:
    """A closed circuit."""

    streams: tuple[CircuitStream, ...]
    fresh_solids: Num
    web_shares: Num
    shares: Mapping[str, Array]
    """"solids": nodes x nodes, components before; "dissolved": nodes x nodes."""
    loads: Mapping[str, Array]
    feeds: Mapping[str, Array]
    rounds: int

    def stream(self, name: str) -> CircuitStream:
        """The stream of this name; a KeyError says which there are."""
        for one in self.streams:
            if one.name == name:
                return one
        raise KeyError(f"no stream {name!r}; there are {', '.join(s.name for s in self.streams)}")


class Flows(NamedTuple):
    """Flows of one round, and the water in those whose composition differs from their node's."""

    formed: Array
    jet: Array
    jet_flow: Num
    fan: Num
    formed_flow: Num
    vacuumed: Num
    pressed: Num
    white: Num
    overflow: Num
    silo: Num
    """All that leaves the silo."""
    thick: Num
    broke_draw: Num
    dry_broke: Num
    pulp: Num
    recovered: Num
    dilution: Mapping[str, Num]
    """Water that thins the chest, by its kind."""
    felt: Num
    """All that leaves the felt."""
    pit: Num
    rest: Num
    """What the pit passes on: to the save-all, or away."""
    cloudy: Num
    clear: Num
    effluent: Num


VECTORS = ("fresh_shares", "retention", "press_loss", "recovery")
PLAIN = ("dilution_water", "saveall")


def settled(given: TissueCircuit) -> TissueCircuit:
    """The same with plain floats for numbers of one case, which is quicker, and arrays for all else."""
    showers = ("wire_shower", "felt_shower", "pit_shower")
    said: dict[str, Any] = {name: getattr(given, name) for name in PLAIN}
    said |= {name: np.asarray(getattr(given, name), dtype=float) for name in VECTORS}
    said |= {name: tuple(_one(part) for part in getattr(given, name)) for name in showers}
    for name, value in given.words().items():
        said.setdefault(name, value if name in said else _one(value))
    return TissueCircuit(**said)


def _one(value: Num) -> Num:
    return float(value) if np.ndim(value) == 0 else np.asarray(value, dtype=float)


def shower_parts(given: TissueCircuit) -> dict[str, dict[str, Num]]:
    """Flows of the showers by the node where they end and by their water."""
    showers = (given.wire_shower, given.felt_shower, given.pit_shower)
    return {place: dict(zip(WATERS, shower, strict=True)) for place, shower in zip(PLACES, showers, strict=True)}


def lift(value: Num) -> Num:
    """A value a case, beside components."""
    return value if isinstance(value, float) else np.asarray(value, dtype=float)[..., None]


def at_least_nothing(value: Num) -> Num:
    """The value, or 0 where it is negative."""
    return max(value, 0.0) if isinstance(value, float) else np.maximum(value, 0.0)


def added(value: Array) -> Num:
    """All components together."""
    total: Num = value.sum(axis=-1)
    return total


def asked_of(showers: Mapping[str, Mapping[str, Num]], water: str) -> Num:
    """What all showers ask of one water."""
    return sum((part[water] for part in showers.values()), 0.0)


class Round(NamedTuple):
    """What one round needs of the last one."""

    web: Array
    fresh: Num
    silo: Num
    """Total consistency."""
    pit: Num
    saveall: Array
    """Solids into the save-all."""


def flows_of(given: TissueCircuit, last: Round) -> Flows:
    """Flows by what each place asks for, from the web upwards."""
    showers = shower_parts(given)
    web = lift(given.web_solids) * last.web
    formed = web / (1.0 - given.press_loss)
    jet = formed / given.retention
    of_formed = added(formed)
    jet_flow = added(jet) / given.jet_consistency
    fan = jet_flow / (1.0 - given.reject_share)
    formed_flow, vacuumed = of_formed / given.forming_dryness, of_formed / given.vacuum_dryness
    pressed = given.web_solids / given.press_dryness
    white = white_water_flow_dilution(fan, given.jet_consistency, given.thick_consistency, last.silo)
    overflow = jet_flow - formed_flow + sum(showers["silo"].values()) - white
    over, make_up = at_least_nothing(overflow), at_least_nothing(-overflow)
    dry = given.broke_share * given.web_solids
    above = given.broke_consistency - last.pit
    draw = dry * (1.0 - given.broke_consistency / given.reel_dryness) / above
    recovered = added(given.recovery * last.saveall) / given.recovered_consistency if given.saveall else 0.0 * fan
    thick, pulp = fan - white, last.fresh / given.pulp_dryness
    fed = pulp + dry / given.reel_dryness + draw + recovered + given.chemical_water
    thinning = thick - fed - fan * given.reject_share * given.reject_recovered
    dilution = {water: thinning if water == given.dilution_water else 0.0 for water in WATERS}
    felt = vacuumed - pressed + sum(showers["felt"].values())
    pit = (
        over + given.vacuum_recovered * (formed_flow - vacuumed) + given.felt_recovered * felt
        + sum(showers["pit"].values()) + given.seal_water * given.seal_recovered
    )  # fmt: skip
    rest = pit - draw - make_up - asked_of(showers, "white") - dilution["white"]
    cloudy = asked_of(showers, "cloudy") + dilution["cloudy"]
    clear = rest - recovered - cloudy if given.saveall else 0.0 * rest
    spare = clear - asked_of(showers, "clear") - dilution["clear"]
    return Flows(
        formed=formed, jet=jet, jet_flow=jet_flow, fan=fan, formed_flow=formed_flow, vacuumed=vacuumed,
        pressed=pressed, white=white, overflow=overflow, silo=white + over, thick=thick, broke_draw=draw,
        dry_broke=dry / given.reel_dryness, pulp=pulp, recovered=recovered, dilution=dilution, felt=felt, pit=pit,
        rest=rest, cloudy=cloudy, clear=clear, effluent=spare if given.saveall else rest,
    )  # fmt: skip
