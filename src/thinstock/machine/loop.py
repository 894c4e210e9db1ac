"""The short circulation: what goes round the wire pit, what it takes of fresh water, and how warm the thick stock is.

Per metre of width, components long fibre and fines. White water has the composition of the forming water; screens
reject what comes; showers are clean.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, ClassVar, NamedTuple

import numpy as np

from thinstock.formula.label import worksheet
from thinstock.formula.traced import found
from thinstock.machine.evenness import field_of
from thinstock.machine.forming import Formed, Forming
from thinstock.machine.headbox import Delivered, Headbox
from thinstock.machine.part import Done, Part
from thinstock.machine.told import OUTSIDE, Station, Stream, Use, Wet
from thinstock.machine.web import Around, LoopState, Web
from thinstock.relations import circulation, wet_end
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Num, Q

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed
    from thinstock.machine.notes import Notes
    from thinstock.machine.stock import Retention

FIRST_DRYNESS = np.float64(0.12)
"""Dryness leaving the former with which the search for the loop's composition starts."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Loop(Fields):
    """White-water loop, screens and showers of the wire."""

    reject_share: Annotated[Num, Q("reject_share", possible=(0, 0.5), unit="%")] = 0.015
    wire_shower: Annotated[Num, Q("shower_flow", possible=(0, 50), unit="kg/(s m)")] = 2.5
    wire_shower_temperature: Annotated[
        Num, Q("water_temperature", possible=(274.15, 368.15), usual=(283.15, 333.15), unit="degC")
    ] = 313.15
    silo_mass: Annotated[Num, Q("silo_mass", possible=(1, 1e8), unit="t", optional=True)] = None
    silo_flow_limit: Annotated[Num, Q("flow", possible=(0.1, 1e5), unit="kg/s", limit=True)] = None
    screen_flow_limit: Annotated[Num, Q("pump_flow_limit", possible=(1e-4, 100), unit="m3/min", limit=True)] = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Circuit(Part):
    """The white-water loop with what it goes round: headbox and former, found together."""

    WITHOUT: ClassVar[Mapping[str, str]] = {"outline": phrase("machine.loop.headbox_former_show_themselves")}

    loop: Loop
    headbox: Headbox
    forming: Forming

    def cautions(self) -> Iterable[str]:
        """Headbox, former, pits and pumps."""
        return ("headbox", "forming", "circulation")

    def run(self, web: Web, around: Around) -> tuple[Web, Circulated]:
        """Stock to formed web. The loop's composition asks for the dryness leaving the former, and gives it."""
        kept = around.stock.retention_of(web.fibre)
        shower = self.loop.wire_shower / web.fibre_flow
        with worksheet(False):
            before = self._upstream(web, around, kept, shower, FIRST_DRYNESS)
            far = before.around.with_(stride=8.0 if around.fast else 4.0)
            formed, dryness = self.forming.dryness_ahead(before.jet.onto(around.demand.wire), far)
            dryness = np.maximum(np.where(formed, dryness, FIRST_DRYNESS), 0.02)[()]
        dryness = found(phrase("machine.loop.dryness_leaving_former_for_white"), dryness)
        up = self._upstream(web, around, kept, shower, dryness)
        out, formed = self.forming.run(up.jet.onto(around.demand.wire), up.around)
        return out, Circulated(
            into=web, out=out, around=up.around, part=self, return_share=up.return_share, delivered=up.delivered,
            formed=formed,
        )  # fmt: skip

    def _upstream(self, web: Web, around: Around, kept: Retention, shower: Num, dryness: Num) -> _Upstream:
        """Loop and headbox for a web that leaves the former this dry."""
        stock, loop = around.stock, self.loop
        back = wet_end.return_share_loop(
            stock.fines_share, kept.long, kept.fines, self.headbox.consistency, stock.thick_consistency,
            loop.reject_share, dryness, shower,
        )  # fmt: skip
        fines = wet_end.fines_share_of_web(stock.fines_share, kept.long, kept.fines, back, loop.reject_share)
        total = wet_end.retention_total_of_web(fines, kept.long, kept.fines)
        state = LoopState(total, kept, loop.reject_share, loop.wire_shower, loop.wire_shower_temperature)
        known = around.with_(loop=state)
        jet, delivered = self.headbox.run(web.with_(fines_share=fines), known)
        return _Upstream(back, known, jet, delivered)

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """Pump, screens, headbox, former and silo, in the order of the stock's way."""
        yield from self.headbox.pump_limits(asked.at("headbox"))
        mine = asked.at("loop")
        yield mine.capacity(
            "screens", "screen_flow_limit", "volume_flow",
            lambda p: p.headbox.delivery.fan_flow_per_width * asked.width, upstream=True,
        )  # fmt: skip
        yield from self.headbox.limits(asked.at("headbox"))
        yield from self.forming.limits(asked.at("forming"))
        yield from self.headbox.even_jet_limits(asked.at("headbox"))
        yield mine.capacity(
            "silo", "silo_flow_limit", "flow",
            lambda p: p.headbox.delivery.mass_flow_per_width * asked.width, upstream=True,
        )  # fmt: skip


class _Upstream(NamedTuple):
    return_share: Num
    around: Around
    jet: Web
    delivered: Delivered


@dataclass(frozen=True, kw_only=True, eq=False)
class Circulated(Done):
    """The loop at work, with the headbox and the former in it."""

    part: Circuit
    return_share: Num
    """White water back to the fan pump / water drained on the wire; above 1 water is borrowed."""
    delivered: Delivered
    formed: Formed

    def within(self) -> Mapping[str, Done]:
        """Headbox and former."""
        return {"headbox": self.delivered, "forming": self.formed}

    @property
    def state(self) -> LoopState:
        """Retention and what else the loop brings to the headbox."""
        assert self.around.loop is not None
        return self.around.loop

    def onward(self, around: Around) -> Around:
        """What the former leaves for those behind it."""
        even = field_of(self.around, self.into.fibre, self.part.headbox.consistency)
        return self.formed.onward(around.with_(loop=self.state, evenness=even))

    def values(self) -> Mapping[str, Num]:
        """Retention, composition, return; with those of headbox and former."""
        return {
            **self.delivered.values(),
            **self.formed.values(),
            "retention": self.state.retention,
            "retention_fines": self.state.retained.fines,
            "web_fines_share": self.formed.into.fines_share,
            "return_share": self.return_share,
            "grammage_on_wire": self.into.fibre,
            "thick_temperature": self._flows[0].temperature,
        }

    def stations(self) -> Iterable[Station]:
        """Headbox, end of the former."""
        return (*self.delivered.stations(), *self.formed.stations())

    def consumers(self) -> Iterable[Use]:
        """Refiners where their energy is given, and those of headbox and former."""
        gross = self.around.stock.refining_gross()
        if gross is not None:
            yield Use(id="refining", stage="stock", kind="electricity", power=gross * self._flows[0].fibre)
        yield from (*self.delivered.consumers(), *self.formed.consumers())

    def fresh_water(self) -> Iterable[tuple[Num, Num]]:
        """Showers on the wire."""
        yield self.part.loop.wire_shower, self.part.loop.wire_shower_temperature

    def streams(self) -> Iterable[Stream]:
        """The whole loop from thick stock to overflow."""
        return self._flows

    @cached_property
    def _flows(self) -> tuple[Stream, ...]:
        warm, loop = self.into.temperature, self.part.loop
        accept, jet = self.delivered.streams()
        through = self.formed.shares["through"]
        scale = 1 / (1 - loop.reject_share)
        fan = Wet.at(warm, fibre=accept.fibre * scale, fines=accept.fines * scale, water=accept.water * scale)
        rejected = Wet.at(
            warm, fibre=fan.fibre - jet.fibre, fines=fan.fines - jet.fines, water=fan.water - jet.water
        )  # fmt: skip
        white_flow = circulation.white_water_flow_dilution(
            fan.fibre + fan.water,
            self.part.headbox.consistency,
            self.around.stock.thick_consistency,
            through.fibre / (through.fibre + through.water),
        )
        back = white_flow / (through.fibre + through.water)
        white = through.times(back)
        left, short = through - white, np.asarray(back) > 1
        power = Stream(id="fan_power", source=OUTSIDE, sink="mixing", heat=self.delivered.delivery.fan_power)
        thick = fan - white - power
        flows = [
            thick.stream("thick", OUTSIDE, "mixing"),
            power,
            white.stream("white_water", "silo", "mixing"),
            fan.stream("fan", "mixing", "screens", temperature=warm),
            rejected.stream("reject", "screens", OUTSIDE, temperature=warm),
            accept,
            jet,
            *self.formed.streams(),
        ]
        if np.any(short):
            flows.append(left.times(-1.0).where(short).stream("borrowed_white_water", OUTSIDE, "silo"))
        return (*flows, left.where(~short).stream("overflow", "silo", OUTSIDE))

    def notes(self, notes: Notes) -> None:
        """Water that is lacking, a loop that is open, a low retention."""
        share = np.asarray(self.return_share)
        notes.when(share > 1, "loop", "limit", "white_water_short")
        notes.when(share < 0.8, "loop", "unusual", "white_water_spilled")
        notes.when(np.asarray(self.state.retention) < 0.6, "stock", "unusual", "retention_low")
