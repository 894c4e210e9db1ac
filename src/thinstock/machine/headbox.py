"""Headbox and fan pump: how much stock, how fast, through what slice, with what head and power."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, NamedTuple

import numpy as np

from thinstock.formula.label import recall
from thinstock.machine.outlines.dry import SlicePlace, nozzle
from thinstock.machine.outlines.said import in_unit, joined, told
from thinstock.machine.outlines.shape import Outline
from thinstock.machine.part import Done, Part
from thinstock.machine.told import Station, Stream, Use, said, thrown
from thinstock.machine.web import Around, Free, Web
from thinstock.relations import balance, circulation, jet, joints, pumping
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Num, Q

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed


@lru_cache(maxsize=4096)
def _contraction(slice_angle: float, opening_ratio: float) -> float:
    return float(jet.contraction_free_streamline(slice_angle, opening_ratio))


class Delivery(NamedTuple):
    """What the headbox delivers, per metre of width."""

    jet_speed: Num
    flow_per_width: Num
    mass_flow_per_width: Num
    headbox_head: Num
    slice_opening: Num
    jet_thickness: Num
    stock_depth: Num
    line_loss: Num
    jet_power: Num
    fan_power: Num
    """Shaft power of the fan pump, W/m."""
    electricity: Num
    """Motor input, W/m."""
    fan_flow_per_width: Num
    """Volume flow of the fan pump, m²/s."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Headbox(Part):
    """The headbox with its approach flow and fan pump."""

    consistency: Annotated[
        Num,
        Q(
            "consistency",
            possible=(1e-7, 0.05),
            usual=(5e-4, 0.012),
            unit="%",
            status="required",
        ),
    ]
    jet_ratio: Annotated[Num, Q("jet_ratio", possible=(0.3, 3))] = 1.0
    slice_angle: Annotated[Num, Q("slice_angle", possible=(np.radians(2), np.radians(180)), unit="deg")] = float(
        np.radians(10.0)
    )
    opening_ratio: Annotated[Num, Q("opening_ratio", possible=(0, 0.95))] = 0.1
    contraction: Annotated[Num, Q("contraction", possible=(0.4, 1), optional=True)] = None
    velocity_coefficient: Annotated[Num, Q("velocity_coefficient", possible=(0.7, 1))] = 0.99
    line_loss: Annotated[Num, Q("line_loss", possible=(0, 1e6), unit="kPa")] = 5e4
    line_loss_flow: Annotated[
        Num, Q("flow_per_width", possible=(1e-5, 10), unit="L/(min·m)", optional=True, usual=ANY)
    ] = None
    static_lift: Annotated[Num, Q("static_lift", possible=(-10, 50), unit="m")] = 3.0
    fan_pump_efficiency: Annotated[Num, Q("efficiency", possible=(0.05, 1), usual=(0.65, 0.88))] = 0.75
    motor_efficiency: Annotated[Num, Q("efficiency", possible=(0.3, 1), usual=(0.88, 0.97))] = 0.93
    fan_pump_flow_limit: Annotated[Num, Q("pump_flow_limit", possible=(1e-4, 100), unit="m3/min", limit=True)] = None
    fan_pump_head_limit: Annotated[Num, Q("headbox_head", possible=(1e3, 5e6), unit="kPa", limit=True)] = None
    headbox_pressure_limit: Annotated[
        Num, Q("headbox_head", possible=(1e3, 5e6), unit="kPa", limit=True, hurts=True)
    ] = None
    headbox_flow_limit_low: Annotated[Num, Q("flow_per_width", possible=(0, 10), unit="L/(min·m)", limit=True)] = None
    headbox_flow_limit_high: Annotated[Num, Q("flow_per_width", possible=(1e-5, 10), unit="L/(min·m)", limit=True)] = (
        None
    )
    slice_opening_limit: Annotated[Num, Q("slice_opening", possible=(1e-3, 2), unit="mm", limit=True)] = 0.025

    def contraction_of_slice(self) -> Num:
        """Contraction of the jet, given or from the slice geometry (kept, since it is a quadrature in a search)."""
        if self.contraction is not None:
            return self.contraction
        angle, ratio = np.broadcast_arrays(self.slice_angle, self.opening_ratio)
        if angle.ndim == 0:
            found: Num = np.float64(_contraction(float(angle), float(ratio)))
        else:
            pairs = {(float(a), float(r)) for a, r in zip(angle, ratio, strict=True)}
            known = {p: _contraction(*p) for p in pairs}
            found = np.array([known[(float(a), float(r))] for a, r in zip(angle, ratio, strict=True)])
        return recall(jet.contraction_free_streamline, found, self.slice_angle, self.opening_ratio)

    def deliver(self, *, grammage: Num, wire_speed: Num, retention: Num, density: Num, reject_share: Num) -> Delivery:
        """Flows, slice and power for a sheet of this grammage on the wire."""
        jet_speed = self.jet_ratio * wire_speed
        flow = jet.flow_per_width(grammage, wire_speed, self.consistency, retention, density)
        mass = circulation.jet_flow_per_width(grammage, wire_speed, retention, self.consistency)
        head = jet.headbox_head_for_jet(jet_speed, self.velocity_coefficient, density)
        contraction = self.contraction_of_slice()
        opening = jet.slice_opening(flow, contraction, jet_speed)
        fan_flow = joints.flow_before_screens(flow, reject_share)
        loss = self.line_loss
        if self.line_loss_flow is not None:
            loss = joints.line_loss_at_flow(self.line_loss, fan_flow, self.line_loss_flow)
        power = jet.fan_pump_power(fan_flow, head, loss, self.static_lift, density, self.fan_pump_efficiency)
        return Delivery(
            jet_speed=jet_speed,
            flow_per_width=flow,
            mass_flow_per_width=mass,
            headbox_head=head,
            slice_opening=opening,
            jet_thickness=jet.jet_thickness(opening, contraction),
            stock_depth=jet.stock_depth(flow, wire_speed),
            line_loss=loss,
            jet_power=jet.jet_power(flow, head),
            fan_power=power,
            electricity=pumping.motor_input_power(power, self.motor_efficiency),
            fan_flow_per_width=fan_flow,
        )

    def outline(self, place: SlicePlace) -> Outline:
        """Nozzle with its slice, tube bank and cross header; its body is schematic."""
        out, h = place.delivery, place.slice.heading
        opening, angle = float(out.slice_opening), max(float(self.slice_angle), np.radians(6.0))
        shapes, header = nozzle(place, opening, angle)
        text = joined(
            phrase("drawing.headbox.stock", consistency=told(self, "consistency")),
            phrase("drawing.headbox.slice", opening=in_unit(opening, "mm")),
            phrase("drawing.headbox.jet", thickness=in_unit(out.jet_thickness, "mm"),
                   speed=in_unit(out.jet_speed, "m/min", 4)),
            phrase("drawing.headbox.head", head=in_unit(out.headbox_head, "kPa")),
            phrase("drawing.headbox.flow", flow=in_unit(out.flow_per_width, "m³/(min·m)")),
        )  # fmt: skip
        name = phrase("drawing.part.headbox")
        return Outline(
            part="headbox", name=name, label=name, text=text, anchor=header.at(h + 0.5 * np.pi), shapes=shapes
        )

    def run(self, web: Web, around: Around) -> tuple[Web, Delivered]:
        """The stock of the sheet wanted on the wire, thrown as a jet."""
        loop = around.loop
        assert loop is not None
        delivery = self.deliver(
            grammage=web.fibre,
            wire_speed=web.speed,
            retention=loop.retention,
            density=around.water.density,
            reject_share=loop.reject_share,
        )
        free = Free(
            self.consistency,
            loop.retention,
            loop.retained,
            delivery.stock_depth,
            delivery.jet_thickness,
            delivery.jet_speed,
        )
        out = web.with_(
            carrier="jet",
            formed=False,
            free=free,
            moisture_ratio=balance.water_per_fibre_stock(self.consistency),
        )
        return out, Delivered(into=web, out=out, around=around, part=self, delivery=delivery)

    def pump_limits(self, asked: Asked) -> Iterable[Duty]:
        """The fan pump's."""
        yield asked.capacity(
            "fan_pump_flow", "fan_pump_flow_limit", "volume_flow",
            lambda p: p.headbox.delivery.fan_flow_per_width * asked.width, upstream=True,
        )  # fmt: skip
        yield asked.capacity(
            "fan_pump_pressure", "fan_pump_head_limit", "headbox_head",
            lambda p: p.headbox.delivery.headbox_head + p.headbox.delivery.line_loss, upstream=True,
        )  # fmt: skip

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """The headbox's own: flow, pressure, slice."""
        yield asked.capacity(
            "headbox_flow", "headbox_flow_limit_high", "flow_per_width",
            lambda p: p.headbox.delivery.flow_per_width, upstream=True,
        )  # fmt: skip
        yield asked.capacity(
            "headbox_pressure", "headbox_pressure_limit", "headbox_head",
            lambda p: p.headbox.delivery.headbox_head, upstream=True,
        )  # fmt: skip
        yield asked.capacity(
            "slice", "slice_opening_limit", "slice_opening",
            lambda p: p.headbox.delivery.slice_opening, upstream=True,
        )  # fmt: skip

    def even_jet_limits(self, asked: Asked) -> Iterable[Fixed]:
        """The least flow of an even jet."""
        yield asked.least(
            "headbox_lowest_flow", "headbox_flow_limit_low", "flow_per_width",
            lambda p: p.headbox.delivery.flow_per_width,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Delivered(Done):
    """The headbox at work."""

    part: Headbox
    delivery: Delivery

    def values(self) -> Mapping[str, Num]:
        """Flow, slice, jet and power."""
        d = self.delivery
        return {
            "consistency": self.part.consistency,
            "flow_per_width": d.flow_per_width,
            "headbox_flow": d.flow_per_width * self.out.width,
            "water_per_fibre": self.out.moisture_ratio,
            "slice_opening": d.slice_opening,
            "jet_thickness": d.jet_thickness,
            "headbox_head": d.headbox_head,
            "stock_depth": d.stock_depth,
            "jet_speed": d.jet_speed,
            "jet_power": d.jet_power,
            "fan_power": d.electricity,
        }

    def stations(self) -> Iterable[Station]:
        """The jet."""
        yield Station(
            name=said("stations", "headbox"), dryness=self.part.consistency, moisture_ratio=self.out.moisture_ratio,
            grammage=self.out.fibre, temperature=self.out.temperature, speed=self.delivery.jet_speed,
        )  # fmt: skip

    def streams(self) -> Iterable[Stream]:
        """Stock in, jet out."""
        jet, temperature = thrown(self.out), self.out.temperature
        yield jet.stream("accept", "screens", "headbox", temperature=temperature)
        yield jet.stream("jet", "headbox", "forming", temperature=temperature)

    def consumers(self) -> Iterable[Use]:
        """The fan pump."""
        yield Use(id="fan_pump", stage="forming", kind="electricity", power=self.delivery.electricity)
