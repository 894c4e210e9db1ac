"""What every nip of a press is: a line load, a width, a profile of pressure, and the register of kinds."""

from __future__ import annotations

import dataclasses
from abc import abstractmethod
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar, Self, TypeVar

import numpy as np

from thinstock.errors import Fault
from thinstock.machine.outlines.press import NipPlace
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import Hazard, Outline, Shape
from thinstock.machine.part import Kind
from thinstock.machine.surfaces import Surface
from thinstock.words.fault import fault_in
from thinstock.words.num import Array
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed

CONTACT_TIME = Q("contact_time_reference", possible=(1e-6, 1), unit="ms", key="nip.contact_time")
N = TypeVar("N", bound="Nip")

NIPS: dict[str, type[Nip]] = {}
"""The word in a machine file for each kind of nip."""

LINE_LOAD = Q(
    "line_load",
    possible=(1e2, 5e6),
    unit="kN/m",
    status="required",
    key="nip.line_load",
)
LINE_LOAD_LIMIT = Q("line_load_limit", possible=(1e2, 5e6), unit="kN/m", limit=True, hurts=True, key="nip.limit")


class Nip(Kind, base=True):
    """One nip. The line load allowed on a Yankee stands in the vessel's certificate alone and is never computed."""

    WITHOUT: ClassVar[Mapping[str, str]] = {"streams": phrase("machine.base.its_water_air_heat_told")}
    name: str
    line_load: Num
    line_load_limit: Num
    certificate: str
    on_yankee: bool
    roll_diameter: Num
    surface: Surface
    felted_sides: Num
    rewet: Num
    nip_angle: Num
    felt_shared: bool
    contact_time_reference: Num

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """The line load: the certificate's, never computed."""
        yield asked.line_load(self)

    rolls_above: ClassVar[bool] = False
    """True where another roll may stand on it in a cluster."""

    @abstractmethod
    def outline(self, place: NipPlace) -> Outline:
        """What it looks like at its place."""

    @abstractmethod
    def hazards(self, place: NipPlace) -> tuple[Hazard, ...]:
        """Where it draws in."""

    @property
    def mate_given(self) -> Num:
        """Diameter of the roll it presses against, where given, m."""
        return None

    def changed(self, **values: object) -> Self:
        """The same nip with some of its values changed."""
        return dataclasses.replace(self, **values)  # type: ignore[arg-type]

    @abstractmethod
    def pressure_profile(self, share: Array, peak_ratio: Num) -> Array:
        """Pressure over its mean at shares of the nip's width."""

    @abstractmethod
    def width(self, yankee_diameter: Num) -> Num:
        """Nip width, m."""

    @abstractmethod
    def peak_ratio(self, nip_width: Num) -> Num:
        """Peak over mean pressure."""

    @abstractmethod
    def pressure_weighted(self, nip_pressure: Num, nip_width: Num) -> Num:
        """Mean pressure weighted by the pressure itself, Pa: what counts for the equilibrium moisture."""

    @abstractmethod
    def contact_time(self, nip_width: Num, speed: Num) -> Num:
        """From the peak of the pressure to the end of the nip, s."""


def nip_kind(kind: str) -> Callable[[type[N]], type[N]]:
    """Enter a kind of nip under its word in machine files."""

    def enter(cls: type[N]) -> type[N]:
        NIPS[kind] = cls
        return cls

    return enter


def nip_outline(part: Nip, place: NipPlace, shapes: tuple[Shape, ...], *said: str) -> Outline:
    """A nip with its line load beside its limit, and what it did."""
    load = phrase("drawing.press.line_load", load=told(part, "line_load"))
    limit = phrase("drawing.limit_unknown")
    known = part.line_load_limit is not None
    if known:
        limit = phrase("drawing.limit", limit=told(part, "line_load_limit"))
    full = phrase("drawing.press.certificate", limit=limit, certificate=part.certificate)
    anchor, also = place.anchors()
    return Outline(
        part=part.name, name=part.name, label=part.name, printed=joined(load, limit), shapes=shapes, anchor=anchor,
        also=also, text=joined(load, full if known and part.certificate else limit, *said, *place.did_said()),
    )  # fmt: skip


def load_within(part: Nip) -> Iterable[Fault]:
    limit = part.line_load_limit
    if limit is not None and np.any(np.asarray(part.line_load) > np.asarray(limit)):
        yield fault_in(
            "machine.base.line_load",
            "line_load",
            f"{float(np.max(part.line_load)) / 1e3:.4g} kN/m",
            limit=f"{float(np.min(limit)) / 1000.0:.4g}",
        )
