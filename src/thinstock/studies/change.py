"""The change card: from one machine to another as settings that a crew can make, in order, with what to watch.

It lists settings and says where a change is none but a rebuild. It is no instruction for a particular mill: changes go
through the mill's own management of change, and no line load, steam pressure or speed is judged safe here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import worksheet
from thinstock.machine.limits import Limits
from thinstock.machine.limits import limits as find_limits
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.relations import circulation
from thinstock.words import address, units
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Q, declared, show

LEAST = 2e-3
"""Relative change from which a setting is listed."""
NEAR = 0.10
"""A limit within this margin of the new speed is one to watch."""
SETTLED = 3.0
"""Time constants after which the short circulation counts as settled (95 %)."""

ORDER_WETTER = ("drying", "press", "vacuum", "wet end", "speed")
ORDER_DRIER = ("wet end", "vacuum", "press", "speed", "drying")
REASONS = {
    True: phrase("studies.change.dryer_gets_more_water_to"),
    False: phrase("studies.change.dryer_gets_less_water_to"),
}
"""Order of the steps, common practice without a source."""


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One setting to be changed."""

    name: str
    stage: str
    """wet end, vacuum, press, drying or speed."""
    before: float
    after: float
    word: str
    unit: str
    """Edge unit in which it is best read; empty: the word's own."""

    def text(self) -> str:
        """From what to what."""
        kind = None if self.word == "" else self.word
        shown = [_written(v, self.word, self.unit) for v in (self.before, self.after)]
        return f"{self.name}: {shown[0]} → {shown[1]}" if kind else f"{self.name}: {self.before:g} → {self.after:g}"


@dataclass(frozen=True, kw_only=True)
class ChangeCard:
    """From A to B on half a page."""

    title: str
    rebuild: tuple[str, ...]
    """What differs and is no setting."""
    order_reason: str
    steps: tuple[Setting, ...]
    """Settings in the order in which they are made."""
    settling: float | None
    """Time for the short circulation to settle within 5 %, s; None where the silo's mass is not given."""
    watch: tuple[str, ...]
    near: tuple[str, ...]
    """Limits that come near or are passed, and those nobody gave."""

    def lines(self) -> list[str]:
        """The card as short lines of text."""
        lines = [self.title]
        if self.rebuild:
            lines.append(phrase("studies.change.this_rebuild_not_only_change", rebuild="; ".join(self.rebuild)))
        if not self.steps:
            lines.append(phrase("studies.change.no_setting_changes"))
            return lines
        lines.append(phrase("studies.change.order_common_practice", order_reason=self.order_reason))
        lines += [f"{k}. {step.text()}" for k, step in enumerate(self.steps, start=1)]
        if self.settling is None:
            lines.append(phrase("studies.change.settling_not_known_mass_stock"))
        else:
            lines.append(
                phrase("studies.change.settling_short_circulation_within_its", settling=f"{self.settling / 60:.1f}")
            )
        lines += [f"Watch: {text}." for text in self.watch]
        lines += [f"Limit: {text}." for text in self.near]
        lines.append(phrase("studies.change.in_steps_by_mill_s"))
        return lines

    def record(self) -> dict[str, Any]:
        """Plain data in base SI."""
        return dataclasses.asdict(self)


def _written(value: float, word: str, unit: str) -> str:
    if unit:
        return units.write(value, unit, 4, kind=None)
    return units.write_word(word, value, "mill", 4)


def change_card(
    before: Machine,
    after: Machine,
    *,
    results: tuple[Result, Result] | None = None,
    limits: Limits | None = None,
) -> ChangeCard:
    """The card from `before` to `after`, whose reel dryness is held in both."""
    with worksheet(False):
        a, b = results if results is not None else (before.run(), after.run())
        found = limits if limits is not None else find_limits(after)
    wetter = _number(b.values.get("evaporation"), 0.0) >= _number(a.values.get("evaporation"), 0.0)
    order = ORDER_WETTER if wetter else ORDER_DRIER
    steps = [one for one in _settings(before, after, a, b) if _moves(one)]
    steps.sort(key=lambda one: order.index(one.stage))
    return ChangeCard(
        title=phrase(
            "studies.change.from_to",
            value=before.title or "the first machine",
            value_2=after.title or "the second machine",
        ),
        rebuild=_rebuild(before, after),
        order_reason=REASONS[wetter],
        steps=tuple(steps),
        settling=_settling(after, b),
        watch=_watch(a, b, steps),
        near=_near(found),
    )


def _moves(one: Setting) -> bool:
    scale = max(abs(one.before), abs(one.after), 1e-12)
    return abs(one.after - one.before) > LEAST * scale


def _number(value: Any, default: float = float("nan")) -> float:
    return default if value is None or np.ndim(value) else float(value)


# -- settings ------------------------------------------------------------------------------------------------------

_RESULTS: tuple[tuple[str, str, str, str, Callable[[Machine, Result], Any]], ...] = (
    (phrase("studies.change.slice_opening"), "wet end", "slice_opening", "", lambda m, r: r["slice_opening"]),
    (phrase("studies.change.headbox_pressure"), "wet end", "headbox_head", "", lambda m, r: r["headbox_head"]),
    (
        phrase("studies.change.fan_pump_flow"),
        "wet end",
        "volume_flow",
        "",
        lambda m, r: r.parts.headbox.delivery.fan_flow_per_width * m.width,
    ),
    (phrase("studies.change.thick_stock_flow"), "wet end", "thick_flow", "", lambda m, r: _thick(r) * m.width),
    (phrase("studies.change.hood_air"), "drying", "air_temperature", "", lambda m, r: r.values.get("air_temperature")),
    (
        phrase("studies.change.steam_pressure"),
        "drying",
        "steam_pressure",
        "",
        lambda m, r: r.values.get("steam_pressure"),
    ),
    (phrase("studies.change.heat_to_dryer"), "drying", "machine_power", "", lambda m, r: _dryer_heat(m, r)),
    (phrase("studies.change.speed"), "speed", "speed", "", lambda m, r: r["speed"]),
    (phrase("studies.change.crepe"), "speed", "crepe", "%", lambda m, r: m.grade.crepe),
)
"""Settings that a run works out: name, stage, word, unit, value."""

_FIELDS: tuple[tuple[str, str, str, str], ...] = (
    ("loop", "wire_shower", "wet end", phrase("studies.change.wire_shower")),
    ("press.felt", "shower", "press", phrase("studies.change.felt_shower")),
    ("press.felt.boxes", "vacuum", "vacuum", phrase("studies.change.vacuum_felt_boxes")),
    ("hood", "exhaust_humidity", "drying", phrase("studies.change.humidity_exhaust")),
    ("hood", "jet_velocity", "drying", phrase("studies.change.velocity_hood_jets")),
)
"""Settings that the machine file holds: part, field, stage, name."""


def _dryer_heat(machine: Machine, result: Result) -> Any:
    """Heat of a dryer of stated specific energy, W."""
    found = [c.power for c in result.energy if c.id == "dryer_heat"]
    return found[0] * machine.width if found else None


def _thick(result: Result) -> Any:
    thick = next(s for s in result.streams if s.id == "thick")
    return thick.fibre + thick.water


def _settings(before: Machine, after: Machine, a: Result, b: Result) -> list[Setting]:
    """Everything a crew can set that both machines have."""
    made = []
    for name, stage, word, unit, value in _RESULTS:
        old, new = _number(value(before, a)), _number(value(after, b))
        if np.isfinite(old) and np.isfinite(new):
            made.append(Setting(name=name, stage=stage, before=old, after=new, word=word, unit=unit))
    for where, field, stage, name in _FIELDS:
        made += _field(_part(before, where), _part(after, where), field, stage, name)
    made += _named(before.vacuum.slot, after.vacuum.slot, "vacuum", "vacuum", phrase("studies.change.vacuum"))
    made += _named(before.press.nip, after.press.nip, "line_load", "press", phrase("studies.change.line_load"))
    for field, label in (
        ("fabric_tension", phrase("studies.change.fabric_tension_at")),
        ("vacuum", phrase("studies.change.vacuum_2")),
    ):
        made += _named(before.forming.element, after.forming.element, field, "wet end", label)
    return made


def _part(machine: Machine, where: str) -> Any:
    owner = machine.get(where.split(".")[0])
    return None if owner is None else machine.get(where)


def _named(old: tuple[Any, ...], new: tuple[Any, ...], field: str, stage: str, label: str) -> list[Setting]:
    """Settings of parts that both lists hold under the same name."""
    mates = {one.name: one for one in old if hasattr(one, field)}
    made = []
    for one in new:
        if one.name in mates and hasattr(one, field) and type(one) is type(mates[one.name]):
            made += _field(mates[one.name], one, field, stage, label.format(one.name))
    return made


def _field(old: Any, new: Any, field: str, stage: str, name: str) -> list[Setting]:
    if old is None or new is None:
        return []
    about = next(d.about for d in declared(type(new)) if d.name == field)
    assert isinstance(about, Q)
    values = _number(getattr(old, field)), _number(getattr(new, field))
    if not all(np.isfinite(v) for v in values):
        return []
    return [Setting(name=name, stage=stage, before=values[0], after=values[1], word=about.word, unit=about.unit)]


# -- what is no setting --------------------------------------------------------------------------------------------

_SET = frozenset(
    {"vacuum", "line_load", "fabric_tension", "speed", "steam_pressure", "air_temperature", "exhaust_humidity",
     "jet_velocity", "shower", "wire_shower", "consistency", "jet_ratio", "crepe", "temperature"}
)  # fmt: skip
"""Fields that a crew sets, or that follow from settings."""
_EQUIPMENT = ("forming", "press", "yankee", "hood", "dryer", "headbox", "vacuum")
_NOT_STEEL = frozenset(
    {"rewet", "certificate", "contact_level", "hood_factor", "suction_cap", "resistance_factor", "former", "title",
     "dryness_wanted", "transfers", "carrier"}
)  # fmt: skip
"""Fields that describe, calibrate or follow, and are no steel."""


def _rebuild(before: Machine, after: Machine) -> tuple[str, ...]:
    """Differences in equipment, part by part."""
    said: list[str] = []
    if before.forming.former != after.forming.former:
        said.append(f"former {before.forming.former} → {after.forming.former}")
    old, new = _kinds(before.press.nip), _kinds(after.press.nip)
    if old != new:
        said.append(f"press {' + '.join(old)} → {' + '.join(new)}")
    left, right = dict(address.listing(before)), dict(address.listing(after))
    for where in right:
        root, last = where.split(".")[0], where.rsplit(".", 1)[-1]
        if root not in _EQUIPMENT or where not in left or last in _SET | _NOT_STEEL or "limit" in last:
            continue
        if "window" in where or _equal(left[where], right[where]) or isinstance(right[where], str):
            continue
        said.append(f"{where.replace('_', ' ').replace('.', ', ')} {_shown(after, where, left[where], right[where])}")
    return tuple(said[:6]) + ((f"and {len(said) - 6} more",) if len(said) > 6 else ())


def _kinds(nips: tuple[Any, ...]) -> list[str]:
    return [one.name for one in nips]


def _equal(a: Any, b: Any) -> bool:
    if a is None or b is None:
        return a is b
    return bool(np.all(a == b))


def _shown(machine: Machine, where: str, old: Any, new: Any) -> str:
    owner = machine.get(where.rsplit(".", 1)[0])
    about = next((d.about for d in declared(type(owner)) if d.name == where.rsplit(".", 1)[-1]), None) \
        if isinstance(owner, Fields) else None  # fmt: skip
    if isinstance(about, Q):
        return f"{show(old, about)} → {show(new, about)}"
    return f"{old} → {new}"


# -- what to watch -------------------------------------------------------------------------------------------------


def _settling(machine: Machine, result: Result) -> float | None:
    """Time for the short circulation to come within 5 % of its new state."""
    mass = machine.loop.silo_mass
    if mass is None:
        return None
    into = [s for s in result.streams if s.sink == "silo"]
    flow = sum(float(s.fibre) + float(s.water) for s in into) * float(machine.width)
    white = next(s for s in result.streams if s.id == "white_water")
    share = (float(white.fibre) + float(white.water)) * float(machine.width) / flow
    constant = circulation.silo_time_constant(mass, flow, share, result["retention"], machine.loop.reject_share)
    return SETTLED * float(constant)


def _watch(a: Result, b: Result, steps: list[Setting]) -> tuple[str, ...]:
    """What moves with the change and tells whether it goes as reckoned."""
    said = []
    if any(one.stage == "wet end" for one in steps):
        said.append(phrase("studies.change.level_in_silo_tray_their"))
    old, new = a.values.get("end_of_forming"), b.values.get("end_of_forming")
    if old is not None and new is not None and np.isfinite(old) and np.isfinite(new) and abs(new - old) > 0.02:
        said.append(
            phrase(
                "studies.change.end_forming_its_length_not",
                value=f"{100 * float(old):.0f}",
                value_2=f"{100 * float(new):.0f}",
            )
        )
    saturation = b.values.get("nip_saturation")
    if saturation is not None and np.isfinite(saturation) and float(saturation) > 0.9:
        said.append(phrase("studies.change.felt_saturation_in_nip", saturation=f"{float(saturation):.2f}"))
    if "dryness_press" in a.values and "dryness_press" in b.values:
        old, new = float(a["dryness_press"]), float(b["dryness_press"])
        if abs(new - old) > 2e-3:
            sure = phrase("studies.change.points_until_calibrated_form_press")
            said.append(
                phrase(
                    "studies.change.dryness_after_press",
                    value=f"{100 * old:.1f}",
                    value_2=f"{100 * new:.1f}",
                    sure=sure,
                )
            )
    if int(_number(b.values.get("hold_status"), 0.0)) != 0:
        said.append(
            phrase("studies.change.reel_it_reached_at_what", value=f"{100 * float(b['reel_dryness_reached']):.1f}")
        )
    return tuple(said)


def _near(found: Limits) -> tuple[str, ...]:
    """Limits that the new state passes or comes near to, and limits that protect people and are not known."""
    said = []
    for row in [*found.over, *(row for row in found.rows if not row.over)]:
        if row.over:
            said.append(phrase("studies.change.passed_share", part=row.part, share=row.used, status=row.status))
        elif row.speed is not None and row.margin is not None and row.margin < NEAR:
            away, speed = f"{100 * row.margin:.0f}", f"{row.speed * 60:.0f}"
            said.append(
                phrase("studies.change.away_at_m_min", part=row.part, value=away, speed=speed, status=row.status)
            )
        elif row.scope == "not known" and row.id in ("press_load", "rated_speed"):
            said.append(phrase("studies.change.not_known_ask_for_certificate", part=row.part))
    return tuple(said)
