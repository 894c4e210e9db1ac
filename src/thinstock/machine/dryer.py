"""Drying: a Yankee under its hood, found together, or a dryer of stated specific energy for grades without one.

Where heat goes into the sheet is the kernel's work; here is what it is given and what follows from what it gives.
"""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault, KernelRefused, Refused
from thinstock.formula.label import same
from thinstock.formula.traced import constant, convention, found, named
from thinstock.kernels import dryer as kernel
from thinstock.kernels.dryer_input import DryerInput
from thinstock.kernels.yankee import Profile
from thinstock.machine import dryer_heat, dryer_limits, dryer_notes
from thinstock.machine.along import STEPS, along_yankee
from thinstock.machine.hood import Hood
from thinstock.machine.outlines.dry import Cylinders, Group
from thinstock.machine.outlines.said import joined, told, written
from thinstock.machine.outlines.shape import Outline
from thinstock.machine.part import Done, Part
from thinstock.machine.spots import area_above
from thinstock.machine.told import OUTSIDE, Station, Stream, Use, Wet, air_stream, said, wet_heat
from thinstock.machine.web import Around, Web
from thinstock.machine.yankee import Yankee
from thinstock.relations import (
    contact_drying,
    creping,
    dryer_energy,
    joints,
    pressing,
    pumping,
    steam,
    uneven,
)
from thinstock.relations.hood import HUMIDITY
from thinstock.words.constants import vaporisation_enthalpy_ice_point
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed
    from thinstock.machine.notes import Notes

HOTTEST = 783.15
"""Hottest hood air a search tries where no limit is given, K."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Drying(Done, base=True):
    """What every dryer tells."""

    STAGE = "evaporation"

    moisture_ratio_out: Num
    sheet_temperature: Num
    dryness_out: Num
    evaporation: Num
    steam_heat: Num
    latent_heat: Num
    status: Num
    """0: the dryness wanted is reached or nothing is held; 1 too wet, -1 over-dried at the holder's bound."""
    final_moisture_ratio: Num
    """Wanted at the reel."""
    shell_load: Num
    """Heat that wets the coating, W/m."""
    dried: kernel.Dried | None = None
    """The kernel's own record; None without a Yankee."""

    def values(self) -> Mapping[str, Num]:
        """Dryness reached and water evaporated."""
        return {
            "reel_moisture": 1.0 - self.dryness_out,
            "reel_dryness_reached": self.dryness_out,
            "hold_status": self.status,
            "evaporation": self.evaporation,
        }

    @abstractmethod
    def heat_given(self) -> Num:
        """Heat the dryer is given by its meters, W/m."""

    @abstractmethod
    def heat_holds(self) -> bool:
        """Whether the reel dryness is held by heat, so that a drier sheet needs less of it."""

    @abstractmethod
    def again(self, web: Web) -> Drying:
        """The same dryer on another sheet."""

    def _station(self, id: str) -> Station:
        return Station(
            name=said("stations", id), dryness=self.dryness_out, moisture_ratio=self.moisture_ratio_out,
            grammage=self.out.fibre, temperature=self.sheet_temperature, speed=self.out.speed,
        )  # fmt: skip

    def _reel(self) -> Stream:
        """The sheet to the reel."""
        web = self.out
        wet = Wet.at(web.temperature, fibre=web.fibre_flow, fines=web.fines_flow, water=web.water_flow)
        return wet.stream("reel", "yankee", OUTSIDE, temperature=web.temperature)


@dataclass(frozen=True, kw_only=True, eq=False)
class SteadyDryer(Part):
    """Drying of grades without a Yankee: by evaporation and a stated specific energy."""

    speed: Annotated[
        Num,
        Q(
            "speed",
            possible=(0.05, 60),
            usual=(0.5, 35),
            unit="m/min",
            status="required",
        ),
    ]
    width: Annotated[Num, Q("face_width", possible=(0.1, 12), unit="m")] = 5.6
    heat_per_water: Annotated[Num, Q("heat_per_water", possible=(1e6, 2e7), unit="MJ/kg")] = 3.6e6
    evaporation_limit: Annotated[Num, Q("evaporation", possible=(1e-4, 50), unit="kg/(s m)", limit=True)] = None
    boiler_efficiency: Annotated[Num, Q("boiler_efficiency", possible=(0.2, 1.05))] = 0.90
    distribution_efficiency: Annotated[Num, Q("distribution_efficiency", possible=(0.3, 1.0))] = 0.95
    speed_limit: Annotated[Num, Q("speed", possible=(0.05, 60), unit="m/min", limit=True, hurts=True)] = None

    def run(self, web: Web, around: Around) -> tuple[Web, Evaporated]:
        """Dries to the dryness wanted, by definition."""
        into, demand = web.onto(around.demand.dryer), around.demand
        wanted = pressing.moisture_ratio_from_dryness(demand.reel_dryness)
        evaporation = creping.evaporation_mass_balance(
            into.fibre, into.speed, moisture_ratio_in=into.moisture_ratio, moisture_ratio_out=wanted
        )
        warm = convention(373.15, phrase("machine.dryer.dried_sheet_at_c"))
        out = into.with_(moisture_ratio=wanted, temperature=warm, dryness=demand.reel_dryness)
        return out, Evaporated(
            into=into, out=out, around=around, part=self, moisture_ratio_out=wanted, sheet_temperature=warm,
            dryness_out=demand.reel_dryness, evaporation=evaporation,
            steam_heat=named("power_per_width", self.heat_per_water * evaporation), latent_heat=self.heat_per_water,
            status=np.zeros(np.shape(evaporation), dtype=int)[()], final_moisture_ratio=wanted,
            shell_load=convention(0.0, "none"),
        )  # fmt: skip

    def outline(self, place: Group) -> Outline:
        """A drying group, schematic: drying is a stated specific energy, not computed cylinder by cylinder."""
        group, said = Cylinders(place), ""
        if place.evaporation is not None:
            said = phrase("drawing.dry.evaporates", evaporation=written("evaporation", place.evaporation))
        text = joined(
            said,
            phrase("drawing.dry.heat_stated", heat=told(self, "heat_per_water")),
            phrase("drawing.dry.cylinders"),
        )
        return Outline(
            part="drying group", name=phrase("drawing.part.drying_group"), text=text, shapes=group.shapes(),
            label=phrase("drawing.dry.group_label"), anchor=group.top[1].at(math.pi / 2),
        )  # fmt: skip

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """Evaporation and rated speed."""
        yield asked.capacity(
            "drying", "evaporation_limit", "evaporation", lambda p: p.dryer.evaporation, task="evaporates",
            dryer="bound",
        )  # fmt: skip
        yield asked.rated("speed_limit")


@dataclass(frozen=True, kw_only=True, eq=False)
class Evaporated(Drying):
    """A dryer of stated specific energy at work."""

    part: SteadyDryer

    def values(self) -> Mapping[str, Num]:
        """The fuel as well."""
        boiler = (self.part.boiler_efficiency, self.part.distribution_efficiency)
        none = convention(0.0, phrase("machine.dryer.no_burner"))
        return {**super().values(), "fuel_heat": dryer_energy.fuel_heat(self.steam_heat, *boiler, none)}

    def heat_given(self) -> Num:
        return self.steam_heat

    def heat_holds(self) -> bool:
        return True

    def again(self, web: Web) -> Drying:
        return self.part.run(web, self.around)[1]

    def stations(self) -> Iterable[Station]:
        """Behind the dryer."""
        yield self._station("dryer_exit")

    def streams(self) -> Iterable[Stream]:
        """Heat in, vapour and sheet out."""
        web, reel = self.into, self._reel()
        vapour = web.water_flow - reel.water
        heat_in = wet_heat(web.fibre_flow, web.water_flow, web.temperature)
        yield Stream(id="dryer_heat", source=OUTSIDE, sink="yankee", heat=self.steam_heat)
        yield Stream(
            id="vapour", source="yankee", sink=OUTSIDE, water=vapour, heat=heat_in + self.steam_heat - reel.heat
        )
        yield reel

    def consumers(self) -> Iterable[Use]:
        """Heat."""
        yield Use(id="dryer_heat", stage="evaporation", kind="steam", power=self.steam_heat)

    def notes(self, notes: Notes) -> None:
        """How drying is reckoned here."""
        notes.when(True, "dryer", "information", "no_yankee")


@dataclass(frozen=True, kw_only=True, eq=False)
class YankeeDryer(Part):
    """A Yankee under its hood."""

    WITHOUT: ClassVar[Mapping[str, str]] = {"outline": phrase("machine.dryer.yankee_hood_show_themselves")}

    yankee: Yankee
    hood: Hood

    def cautions(self) -> Iterable[str]:
        """The vessel and the burner."""
        return ("yankee", "hood")

    def run(self, web: Web, around: Around) -> tuple[Web, Dried]:
        """Shell temperature, jet humidity and (where held) hood air or steam pressure, in one joint iteration."""
        into, yankee = web.onto(around.demand.dryer), self.yankee
        wanted = pressing.moisture_ratio_from_dryness(around.demand.reel_dryness)
        contact = yankee.contact()
        load = contact_drying.shell_load_coating(
            yankee.coating_water, yankee.speed, yankee.coating_temperature,
            constant("water_heat_capacity_sheet"), steam.latent_heat_fit(convention(373.15, "boiling water")),
        )  # fmt: skip
        stretches, held = self._stretches(), self._held(around, wanted)
        sheet = self._sheet_side(into, around, contact, load)
        variance = self._uneven(into, around, wanted)
        dried = _dried(**sheet, **stretches, **self._air_side(around), **held, uneven_variance=variance)
        if around.single and any(isinstance(v, np.ndarray) for v in dried):
            dried = type(dried)(*[same(v[0], v) if np.ndim(v) else v for v in dried])
        latent = steam.latent_heat_fit(dried.steam_temperature)
        dryness = pressing.dryness_from_moisture_ratio(dried.moisture_ratio)
        out = into.with_(moisture_ratio=dried.moisture_ratio, temperature=dried.sheet_temperature, dryness=dryness)
        return out, Dried(
            into=into, out=out, around=around, part=self, dried=dried, shell_load=load, final_moisture_ratio=wanted,
            uneven_variance=variance,
            moisture_ratio_out=dried.moisture_ratio, sheet_temperature=dried.sheet_temperature,
            dryness_out=dryness, evaporation=dried.evaporation,
            steam_heat=joints.steam_heat_yankee(dried.contact_heat, dried.bare_heat, load, yankee.head_loss_share),
            latent_heat=latent, status=dried.status,
        )  # fmt: skip

    def _uneven(self, web: Web, around: Around, wanted: Num) -> Num:
        """Variance of the drying load over the sheet: clouds in the zone that dries as one, and profiles across."""
        even = around.evenness
        if even is None:
            return convention(0.0, phrase("machine.dryer.sheet_unknown_evenness_dried_as"))
        zone = found(
            phrase("machine.dryer.cv_sheet_in_zone_that"),
            even.cv(np.asarray(self.yankee.drying_zone, dtype=float)[()]),
        )
        return uneven.uneven_variance_total(
            zone**2, around.grammage_cv_across, around.moisture_deviation, web.moisture_ratio, wanted
        )

    def _sheet_side(self, web: Web, around: Around, contact: tuple[Num, Num], load: Num) -> dict[str, Num]:
        """Sheet, shell and contact, as the kernel asks for them."""
        yankee = self.yankee
        dry, wet_side = contact
        return {
            "moisture_ratio": web.moisture_ratio,
            "sheet_temperature": web.temperature,
            "grammage": web.fibre,
            "yankee_speed": yankee.speed,
            "contact_coefficient_dry": dry,
            "contact_coefficient_wet": wet_side,
            "moisture_scale": yankee.moisture_scale,
            "fibre_heat_capacity": constant("fibre_heat_capacity_dry"),
            "isotherm": 0 if yankee.isotherm == "Heikkilä" else 1,
            "steam_pressure": yankee.steam_pressure,
            "condensate_coefficient": yankee.condensate_coefficient,
            "shell_resistance": yankee.shell_resistance(),
            "yankee_diameter": yankee.diameter,
            "bare_coefficient": yankee.bare_coefficient,
            "room_temperature": around.site.room_temperature,
            "shell_load": load,
            "atmospheric_pressure": around.atmospheric_pressure,
        }

    def _stretches(self) -> dict[str, Num]:
        """Sheet on the Yankee before, under and behind the hood."""
        yankee, hood = self.yankee, self.hood
        turn = joints.circumference(yankee.diameter)
        before = hood.start * turn
        covered = hood.covered * turn
        arc = contact_drying.arc_length(yankee.diameter, yankee.wrap)
        return {
            "open_length_before": before,
            "hood_length": covered,
            "open_length_after": joints.rest_of_wrap(arc, before, covered),
        }

    def _air_side(self, around: Around) -> dict[str, Num]:
        """Nozzles, air, burner and losses, as the kernel asks for them."""
        hood, site = self.hood, around.site
        given = hood.make_up_temperature
        return {
            "open_heat_transfer_coefficient": hood.open_coefficient,
            "open_air_temperature": hood.open_temperature,
            "open_humidity": hood.open_humidity,
            "jet_velocity": hood.jet_velocity,
            "nozzle_diameter": hood.nozzle_diameter,
            "jet_open_area": hood.jet_open_area,
            "nozzle_gap": hood.nozzle_gap,
            "contraction": hood.contraction,
            "hood_factor": hood.hood_factor,
            "plate_offset": hood.plate_offset,
            "emissivity": hood.emissivity,
            "film_sheet_temperature": hood.film_sheet_temperature,
            "air_temperature": hood.air_temperature,
            "exhaust_humidity": hood.exhaust_humidity,
            "leakage": hood.leakage,
            "make_up_temperature": site.room_temperature if given is None else given,
            "heat_recovery": convention(-1.0, phrase("machine.dryer.make_up_air_as_measured"))
            if given is not None
            else hood.heat_recovery,
            "make_up_humidity": site.room_humidity,
            "room_humidity": site.room_humidity,
            "hood_loss_share": hood.hood_loss_share,
            "fan_pressure_rise": hood.fan_pressure,
            "fan_efficiency": hood.fan_efficiency,
            "fan_heat_share": hood.fan_heat_share,
            "lower_heating_value": hood.lower_heating_value,
            "combustion_water_ratio": hood.combustion_water_ratio,
            "gas_fired": convention(hood.heating == "gas", phrase("machine.dryer.hood_heated_by_gas_by")),
        }

    def _held(self, around: Around, wanted: Num) -> dict[str, Num]:
        """What is held, between which bounds, and how finely the march steps."""
        yankee, hood, fast = self.yankee, self.hood, around.fast
        if around.hold == 1:
            lowest, highest = hood.air_temperature_lowest, hood.air_temperature_limit
            if highest is None:
                highest = convention(HOTTEST, phrase("machine.dryer.hottest_hood_air_search_tries"))
        else:
            lowest = joints.least_steam_pressure(around.atmospheric_pressure)
            limit = yankee.steam_pressure_limit
            highest = limit if limit is not None else yankee.steam_pressure
        return {
            "steps": convention([6, 14, 6] if fast else STEPS, phrase("machine.dryer.steps_drying_march")),
            "tolerance": convention(1e-5 if fast else 1e-7, phrase("machine.dryer.tolerance_drying_step")),
            "spots": 0 if fast else 5,
            "chained": around.chained,
            "among": around.among,
            "hold": around.hold,
            "final_moisture_ratio": wanted,
            "lowest": lowest,
            "highest": highest,
        }

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """Dryness at the reel, burner, exhaust, rated speed."""
        yield asked.duty(
            "drying", "dryness", asked.reel_dryness, value=lambda p: 1 / (1 + p.dryer.moisture_ratio_out),
            margin=dryer_limits.wetness(asked.reel_dryness), status="computed, not calibrated", dryer="bound",
            remark=asked.holder.replace(" ", "_"),
        )  # fmt: skip
        hood = asked.at("hood")
        yield hood.capacity(
            "burner",
            "burner_power_limit",
            "machine_power",
            lambda p: p.yankee.dried.gas_power * asked.width,
            dryer="held",
        )
        if self.hood.heating == "gas":
            yield dryer_limits.turndown(hood, self.hood.burner_power_lowest)
        yield hood.capacity(
            "hood_exhaust", "exhaust_flow_limit", "flow", lambda p: p.yankee.dried.exhaust * asked.width, dryer="held"
        )
        yield asked.at("yankee").rated("speed_limit")


def _dried(**given: Num) -> kernel.Dried:
    """The dryer kernel; a humidity that cannot be reached is refused in the machine's own words."""
    try:
        return kernel.dry(DryerInput(**given))
    except KernelRefused as error:
        if error.cause != HUMIDITY:
            raise
        raise Refused(
            Fault(
                field="hood.exhaust_humidity",
                value=f"{float(np.max(given['exhaust_humidity'])):.4g} kg/kg",
                bound=error.faults[0].bound,
                remedy=phrase("machine.dryer.raise_exhaust_humidity_or_jets"),
            )
        ) from error


@dataclass(frozen=True, kw_only=True, eq=False)
class Dried(Drying):
    """Yankee and hood at work; `dried` is the kernel's own record."""

    part: YankeeDryer
    dried: kernel.Dried
    uneven_variance: Num
    """Of the drying load over the sheet."""

    def values(self) -> Mapping[str, Num]:
        """Air, steam, shell and the drying rate as well."""
        d, yankee = self.dried, self.part.yankee
        return {
            **super().values(),
            "air_temperature": d.air_temperature,
            "steam_pressure": d.steam_pressure,
            "surface_temperature": d.surface_temperature,
            "drying_rate": creping.drying_rate_wrapped(self.evaporation, yankee.diameter, yankee.wrap),
            "jet_humidity": d.jet_humidity,
            "exhaust_humidity": d.exhaust_humidity,
            "exhaust": d.exhaust,
            "gas_power": dryer_energy.burner_heat(d.gas_power) * self.out.width,
            "make_up_temperature": d.make_up_temperature,
            "return_temperature": d.return_temperature,
            **dryer_heat.heats(self),
            "drying_cv": np.sqrt(self.uneven_variance),
            "reel_moisture_area_above_10": found(
                phrase("machine.dryer.share_reel_above_moisture"), area_above(d, self.uneven_variance, 0.10)
            ),
            "steam_flow": steam.steam_flow_condensing(self.steam_heat, self.latent_heat),
        }

    def heat_given(self) -> Num:
        return named("power_per_width", self.steam_heat + dryer_energy.burner_heat(self.dried.gas_power))

    def heat_holds(self) -> bool:
        return self.around.hold != 0

    def again(self, web: Web) -> Drying:
        return self.part.run(web, self.around)[1]

    def stations(self) -> Iterable[Station]:
        """Crepe doctor."""
        yield self._station("doctor")

    def streams(self) -> Iterable[Stream]:
        """Heat and vapour of the sheet, air of the hood."""
        d, site = self.dried, self.around.site
        room = site.room_humidity
        combustion = d.gas_power + d.combustion_water * vaporisation_enthalpy_ice_point
        return (
            Stream(id="contact_heat", source=OUTSIDE, sink="yankee", heat=d.contact_heat),
            Stream(id="sheet_heat", source="hood", sink="yankee", heat=d.sheet_heat),
            Stream(id="vapour", source="yankee", sink="hood", water=d.evaporation, heat=d.vapour_enthalpy_flow),
            Stream(id="bound_water", source="yankee", sink=OUTSIDE, heat=d.desorption_heat),
            self._reel(),
            air_stream("make_up", OUTSIDE, "hood", d.make_up, room, d.make_up_temperature),
            air_stream("leak", OUTSIDE, "hood", d.leak, room, site.room_temperature),
            Stream(id="combustion", source=OUTSIDE, sink="hood", water=d.combustion_water, heat=combustion),
            Stream(id="hood_fans", source=OUTSIDE, sink="hood", heat=d.fan_heat),
            air_stream("exhaust", "hood", OUTSIDE, d.exhaust, d.exhaust_humidity, d.return_temperature),
            Stream(id="hood_loss", source="hood", sink=OUTSIDE, heat=d.hood_loss),
        )

    def consumers(self) -> Iterable[Use]:
        """Steam, the hood's heat and fans, the blade."""
        yankee, hood, d = self.part.yankee, self.part.hood, self.dried
        gas = hood.heating == "gas"
        yield Use(id="yankee_steam", stage="evaporation", kind="steam", power=self.steam_heat)
        yield Use(id="hood_gas" if gas else "hood_heat", stage="evaporation", kind="gas" if gas else "steam",
                  power=dryer_energy.burner_heat(d.gas_power))  # fmt: skip
        fans = pumping.motor_input_power(d.fan_power, hood.motor_efficiency)
        yield Use(id="hood_fans", stage="evaporation", kind="electricity", power=fans)
        force = pumping.doctor_force(yankee.doctor_friction, yankee.doctor_load, convention(1.0, "per metre"))
        blade = pumping.motor_input_power(pumping.drive_power(force, yankee.speed), yankee.motor_efficiency)
        yield Use(id="crepe_blade", stage="drives", kind="electricity", power=blade)

    def along(self) -> Profile:
        """Moisture and temperature of the sheet from the nip to the doctor."""
        return along_yankee(self)

    def notes(self, notes: Notes) -> None:
        """Too wet or over-dried, limits nobody gave, what is rough, not calibrated or not seen."""
        dryer_notes.tell(self, notes)
