"""The highest speed at which each part of a machine still does its duty; the lowest of them is the bottleneck.

Found with consistency, grammage, line load, vacuums, slot widths and retention held, the press looped in and the
dryer's held variable driven to its bound. Pressure vessels and nips: a limit that was not entered stays "not known";
none is ever derived here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import worksheet
from thinstock.machine.line import Machine
from thinstock.machine.run import run_dry_end, run_wet_end
from thinstock.words.quantity import Num

HIGHEST = 50.0
"""m/s: above 3000 m/min a part is said not to limit."""
HEAD = (
    "highest speed with consistency, grammage, line load, vacuums, slot widths and retention held, and the dryer at "
    "the bound of what holds the reel dryness"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Limit:
    """One part's speed limit."""

    part: str
    duty: str
    speed: float | None
    """m/s; None where it is not known or does not limit."""
    margin: float | None
    """Limit speed over present speed, less 1."""
    binding: bool = False
    scope: str
    """highest, lowest, window, none or not known."""
    status: str
    """Status of the limit: nameplate, certificate, judged, computed, common practice, not given ..."""
    value: float | None = None
    """What the part does at the present speed, SI, in the unit of `word`."""
    bound: float | None = None
    word: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """All limits of one machine."""

    rows: tuple[Limit, ...]
    head: str
    speed: float

    @property
    def binding(self) -> Limit | None:
        """The row that gives out first."""
        return next((row for row in self.rows if row.binding), None)

    def __iter__(self) -> Any:
        return iter(self.rows)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Duty:
    """One part: what it does at a speed, what it may do, and how far it is from failing (positive: fine)."""

    part: str
    duty: str
    margin: Callable[[Any, Any], Any]
    value: Callable[[Any, Any], Any]
    bound: Num
    word: str
    status: str
    dryer: str = ""
    """"" without the dryer, "bound" with the held variable at its bound, "held" with the reel dryness held."""
    note: str = ""


def _status(machine: Machine, address: str, default: str) -> str:
    given = machine.given.get(address)
    return given.status if given is not None and given.status else default


def _capacity(
    machine: Machine,
    part: str,
    duty: str,
    address: str,
    value: Callable[[Any, Any], Any],
    word: str,
    dryer: str = "",
    note: str = "",
) -> _Duty:
    """A capacity somebody gave, or one of which only the present use is known."""
    bound = machine.get(address)
    if bound is None:
        return _Duty(part=part, duty=duty, margin=lambda w, d: -1.0, value=value, bound=None, word=word,
                     status="not given", dryer=dryer, note=note)  # fmt: skip
    return _Duty(
        part=part, duty=duty, margin=lambda w, d: bound - value(w, d), value=value, bound=bound, word=word,
        status=_status(machine, address, "judged"), dryer=dryer, note=note,
    )  # fmt: skip


def _drainage_margin(w: Any, d: Any) -> Any:
    formed = w.formed
    ready = np.asarray(formed.formed) & ~np.asarray(w.boxes_formed)
    left = np.asarray(formed.drained.deposited) / np.asarray(w.grammage_wire) - 1.0
    return np.where(ready, 1.0 - np.asarray(formed.dry_line_share), np.minimum(left, -1e-12))


def _share(w: Any, d: Any) -> Any:
    return w.formed.dry_line_share


def _reel(machine: Machine) -> Callable[[Any, Any], Any]:
    wanted = 1.0 / machine.grade.reel_dryness - 1.0

    def margin(w: Any, d: Any) -> Any:
        return np.log(wanted / np.maximum(d.moisture_ratio_out, 1e-12))

    return margin


def _duties(machine: Machine) -> list[_Duty | Limit]:
    """Every part with its duty, in machine order."""
    wanted = machine.vacuum.dryness_wanted
    rows: list[_Duty | Limit] = [
        _capacity(machine, "fan pump, flow", "delivers the flow", "headbox.fan_pump_flow_limit",
                  lambda w, d: w.delivery.fan_flow_per_width * machine.width, "volume_flow"),
        _capacity(machine, "fan pump, pressure", "delivers the pressure", "headbox.fan_pump_head_limit",
                  lambda w, d: w.delivery.headbox_head + w.delivery.line_loss, "headbox_head"),
        _capacity(machine, "screens", "pass the flow", "loop.screen_flow_limit",
                  lambda w, d: w.delivery.fan_flow_per_width * machine.width, "volume_flow"),
        _capacity(machine, "headbox, flow", "passes the flow", "headbox.headbox_flow_limit_high",
                  lambda w, d: w.delivery.flow_per_width, "flow_per_width"),
        _capacity(machine, "headbox, pressure", "stays below its pressure limit", "headbox.headbox_pressure_limit",
                  lambda w, d: w.delivery.headbox_head, "headbox_head"),
        _capacity(machine, "slice", "opens wide enough", "headbox.slice_opening_limit",
                  lambda w, d: w.delivery.slice_opening, "slice_opening"),
        _Duty(part="drainage", duty="forming ends inside the forming elements", margin=_drainage_margin, value=_share,
              bound=np.float64(1.0), word="dry_line_share", status="computed, not calibrated",
              note="as far as resistance_factor is known (1 to 5)"),
    ]  # fmt: skip
    rows += [
        _capacity(machine, "silo", "takes the tray water", "loop.silo_flow_limit",
                  lambda w, d: w.delivery.mass_flow_per_width * machine.width, "flow"),
        _Duty(part="vacuum, dryness", duty="sheet dry enough for the press",
              margin=lambda w, d: 1 / (1 + w.moisture_into_press) - wanted,
              value=lambda w, d: 1 / (1 + w.moisture_into_press), bound=wanted, word="dryness",
              status=_status(machine, "vacuum.dryness_wanted", "common practice")),
        _capacity(machine, "vacuum, pumps", "draw the air", "vacuum.pump_flow_limit",
                  lambda w, d: sum((s.suction_flow for s in w.slots), 0.0) * machine.width, "volume_flow"),
        _Duty(part="felt", duty="not full in the nip", margin=lambda w, d: 1 - _worst_saturation(w),
              value=lambda w, d: _worst_saturation(w), bound=np.float64(1.0), word="nip_saturation",
              status="computed"),
    ]  # fmt: skip
    for nip in machine.press.nip:
        given = nip.line_load_limit
        rows.append(
            Limit(part=f"press load, {nip.name}",
                  duty="within the certificate" if nip.on_yankee else "within its limit",
                  speed=None, margin=None, scope="none" if given is not None else "not known",
                  status=_status(machine, f"press.nip.{nip.name.replace(' ', '_')}.line_load_limit", "certificate")
                  if given is not None else "not given",
                  value=float(np.max(nip.line_load)), bound=None if given is None else float(np.min(given)),
                  word="line_load",
                  note="does not depend on speed" if given is not None
                  else "line load NOT checked against the vessel's certificate")
        )  # fmt: skip
    if machine.yankee is not None:
        rows += _drying_duties(machine)
    elif machine.dryer is not None:
        rows.append(
            _capacity(machine, "drying", "evaporates the water", "dryer.evaporation_limit",
                      lambda w, d: d.evaporation, "evaporation", dryer="bound")
        )  # fmt: skip
    return rows


def _worst_saturation(w: Any) -> Any:
    return np.max(np.stack([np.asarray(n.nip_saturation) for n in w.nips]), axis=0)


def _drying_duties(machine: Machine) -> list[_Duty | Limit]:
    holder = machine.hold_reel_dryness_by
    at = {
        "hood temperature": "hood air at its bound",
        "steam pressure": "steam pressure at its bound",
        "speed": "hood and steam as set",
        "nothing": "hood and steam as set",
    }[holder]
    return [
        _Duty(part="drying", duty="reel dryness reached", margin=_reel(machine),
              value=lambda w, d: 1 / (1 + d.moisture_ratio_out), bound=machine.grade.reel_dryness, word="dryness",
              status="computed, not calibrated", dryer="bound", note=at),
        _capacity(machine, "burner", "gives the heat", "hood.burner_power_limit",
                  lambda w, d: d.dried.gas_power * machine.width, "machine_power", dryer="held"),
        _capacity(machine, "hood exhaust", "moves the air", "hood.exhaust_flow_limit",
                  lambda w, d: d.dried.exhaust * machine.width, "flow", dryer="held"),
    ]  # fmt: skip


def at_bound(machine: Machine) -> Machine:
    """The machine with what holds the reel dryness driven to the bound of most drying, and nothing held."""
    changes: dict[str, Any] = {}
    if machine.hood is not None and machine.hold_reel_dryness_by == "hood temperature":
        limit = machine.hood.air_temperature_limit
        top = limit if limit is not None else np.float64(783.15)
        changes["hood.air_temperature"] = np.maximum(top, machine.hood.air_temperature) if limit is None else top
    if machine.yankee is not None and machine.hold_reel_dryness_by == "steam pressure":
        limit = machine.yankee.steam_pressure_limit
        if limit is not None:
            changes["yankee.steam_pressure"] = limit
    quiet = dataclasses.replace(machine, hold_reel_dryness_by="nothing")
    return quiet.with_(changes) if changes else quiet


class _Trials:
    """Runs the machine at many speeds at once and gives each duty's margin there."""

    def __init__(self, machine: Machine, duties: list[_Duty]) -> None:
        self.machine = machine
        self.hardest = at_bound(machine)
        self.duties = duties
        self.hold = {"hood temperature": 1, "steam pressure": 2}.get(machine.hold_reel_dryness_by, 0)

    def _run(self, speeds: Any, dryer: str) -> tuple[Any, Any]:
        base = self.hardest if dryer == "bound" else self.machine
        trial = base.with_({self.machine.speed_address: speeds})
        with worksheet(False):
            wet = run_wet_end(trial, single=False, band=False)
            if not dryer:
                return wet, None
            hold = self.hold if dryer == "held" else 0
            return wet, run_dry_end(trial, wet, single=False, fast=False, hold=hold)

    def margins(self, speeds: dict[int, Any]) -> dict[int, Any]:
        """Margin of each duty (by index) at its own speeds; duties of one kind share a run."""
        found: dict[int, Any] = {}
        for dryer in ("", "bound", "held"):
            mine = [i for i in speeds if self.duties[i].dryer == dryer]
            if not mine:
                continue
            sizes = [len(speeds[i]) for i in mine]
            wet, dry = self._run(np.concatenate([speeds[i] for i in mine]), dryer)
            formed = np.asarray(wet.formed.formed)
            for i, stop, size in zip(mine, np.cumsum(sizes), sizes, strict=True):
                duty = self.duties[i]
                with np.errstate(invalid="ignore", divide="ignore"):
                    value = np.broadcast_to(np.asarray(duty.margin(wet, dry), dtype=float), formed.shape)
                if duty.margin is not _drainage_margin and duty.part not in UPSTREAM:
                    value = np.where(formed, value, -1.0)
                found[i] = np.where(np.isfinite(value), value, -1.0)[stop - size : stop]
        return found

    def grid(self, speeds: Any) -> tuple[dict[int, Any], dict[int, Any]]:
        """Margins and values of all duties on one grid of speeds."""
        margins: dict[int, Any] = {}
        values: dict[int, Any] = {}
        for dryer in ("", "bound", "held"):
            mine = [i for i, duty in enumerate(self.duties) if duty.dryer == dryer]
            if not mine:
                continue
            wet, dry = self._run(speeds, dryer)
            formed = np.asarray(wet.formed.formed)
            for i in mine:
                duty = self.duties[i]
                with np.errstate(invalid="ignore", divide="ignore"):
                    value = np.broadcast_to(np.asarray(duty.margin(wet, dry), dtype=float), formed.shape)
                    values[i] = np.broadcast_to(np.asarray(duty.value(wet, dry), dtype=float), formed.shape)
                if duty.part not in UPSTREAM:
                    values[i] = np.where(formed, values[i], np.nan)
                    value = value if duty.margin is _drainage_margin else np.where(formed, value, -1.0)
                margins[i] = np.where(np.isfinite(value), value, -1.0)
        return margins, values


UPSTREAM = frozenset(
    {"fan pump, flow", "fan pump, pressure", "screens", "headbox, flow", "headbox, pressure", "slice", "silo"}
)
"""Parts whose duty does not need a formed sheet."""


def _highest(trials: _Trials, grid: Any, margins: dict[int, Any]) -> dict[int, float | None]:
    """Highest speed at which each duty holds: None if it never does, inf if still at the end of the grid."""
    found: dict[int, float | None] = {}
    low: dict[int, float] = {}
    high: dict[int, float] = {}
    f_low: dict[int, float] = {}
    f_high: dict[int, float] = {}
    for i, margin in margins.items():
        ok = np.flatnonzero(margin >= 0)
        if not ok.size:
            found[i] = None
        elif ok[-1] == len(grid) - 1:
            found[i] = np.inf
        else:
            k = ok[-1]
            low[i], high[i] = grid[k], grid[k + 1]
            f_low[i], f_high[i] = margin[k], margin[k + 1]
    for _ in range(40):
        if not low:
            break
        middle = {}
        for i in low:
            span = high[i] - low[i]
            guess = low[i] + span * f_low[i] / (f_low[i] - f_high[i]) if f_low[i] != f_high[i] else low[i]
            middle[i] = np.array([min(max(guess, low[i] + 0.02 * span), high[i] - 0.02 * span)])
        for i, value in trials.margins(middle).items():
            m, v = float(value[0]), float(middle[i][0])
            if m >= 0:
                low[i], f_low[i] = v, m
                f_high[i] *= 0.5
            else:
                high[i], f_high[i] = v, m
                f_low[i] *= 0.5
            if high[i] - low[i] < 2e-4 * high[i] or abs(m) < 1e-9:
                found[i] = v if abs(m) < 1e-9 else low[i]
        for i in [i for i in low if i in found]:
            for table in (low, high, f_low, f_high):
                table.pop(i)
    for i in low:
        found[i] = low[i]
    return found


def limits(machine: Machine) -> Limits:
    """Speed limits of every part of one machine: what gives out first, and how far away it is.

    Parameters
    ----------
    machine : Machine
        One case, as `thinstock.load` gives it; arrays are refused.

    Returns
    -------
    Limits
        Rows with the highest speed of each part, m/s, and its margin, a fraction of the present speed. A limit that
        nobody entered is not known and never taken as unlimited. Takes some tenths of a second.

    Raises
    ------
    Refused
        A machine with arrays, or one that does not run at its present speed.

    Source: the formulas of the run; rules of practice are marked as such in their rows.
    """
    present = float(machine.speed)
    listed = _duties(machine)
    duties = [row for row in listed if isinstance(row, _Duty)]
    trials = _Trials(machine, duties)
    grid = np.arange(1.0, HIGHEST + 0.5)
    margins, values = trials.grid(np.append(grid, present))
    speeds = _highest(trials, grid, {i: m[:-1] for i, m in margins.items()})
    rows: list[Limit] = []
    number = 0
    for row in listed:
        if isinstance(row, Limit):
            rows.append(row)
            continue
        rows.append(_row(row, speeds[number], float(values[number][-1]), present))
        number += 1
    rows += _plain_rows(machine, present)
    most = [r for r in rows if r.scope in ("highest", "window") and r.speed is not None]
    if most:
        lowest = min(most, key=lambda r: r.speed if r.speed is not None else np.inf)
        rows = [dataclasses.replace(r, binding=True) if r is lowest else r for r in rows]
    return Limits(rows=tuple(rows), head=HEAD, speed=present)


def _row(duty: _Duty, speed: float | None, value: float, present: float) -> Limit:
    shown = value if np.isfinite(value) else None
    if duty.bound is None:
        return Limit(
            part=duty.part, duty=duty.duty, speed=None, margin=None, scope="not known", status=duty.status,
            value=shown, word=duty.word, note=duty.note,
        )  # fmt: skip
    bound = float(np.asarray(duty.bound).ravel()[0])
    if speed is None:
        return Limit(
            part=duty.part, duty=duty.duty, speed=0.0, margin=-1.0, scope="highest", status=duty.status, value=shown,
            bound=bound, word=duty.word, note="does not do its duty at any speed tried",
        )  # fmt: skip
    if np.isinf(speed):
        note = "does not limit up to 3000 m/min" + (f" ({duty.note})" if duty.note else "")
        return Limit(
            part=duty.part, duty=duty.duty, speed=None, margin=None, scope="none", status=duty.status, value=shown,
            bound=bound, word=duty.word, note=note,
        )  # fmt: skip
    return Limit(
        part=duty.part, duty=duty.duty, speed=float(speed), margin=float(speed) / present - 1, scope="highest",
        status=duty.status, value=shown, bound=bound, word=duty.word, note=duty.note,
    )  # fmt: skip


def _plain_rows(machine: Machine, present: float) -> list[Limit]:
    """Jet entry (a lowest speed), lowest headbox flow, rated speed, and the window of practice."""
    rows: list[Limit] = []
    with worksheet(False):
        wet = run_wet_end(machine, single=True, band=False)
    lowest = wet.formed.jet_speed_lowest
    if np.isfinite(lowest):
        at = float(lowest) / float(machine.headbox.jet_ratio)
        rows.append(
            Limit(part="jet entry", duty="jet fast enough to enter the gap", speed=at, margin=present / at - 1,
                  scope="lowest", status="computed", value=float(wet.delivery.jet_speed), bound=float(lowest),
                  word="jet_speed", note="a lowest speed")
        )  # fmt: skip
    low_flow = machine.headbox.headbox_flow_limit_low
    if low_flow is None:
        rows.append(
            Limit(part="headbox, lowest flow", duty="enough flow for an even jet", speed=None, margin=None,
                  scope="not known", status="not given", value=float(wet.delivery.flow_per_width),
                  word="flow_per_width")
        )  # fmt: skip
    else:
        at = present * float(low_flow) / float(wet.delivery.flow_per_width)
        rows.append(
            Limit(part="headbox, lowest flow", duty="enough flow for an even jet", speed=at, margin=present / at - 1,
                  scope="lowest", status=_status(machine, "headbox.headbox_flow_limit_low", "judged"),
                  value=float(wet.delivery.flow_per_width), bound=float(low_flow), word="flow_per_width",
                  note="a lowest speed")
        )  # fmt: skip
    owner = machine.yankee if machine.yankee is not None else machine.dryer
    rated = None if owner is None else owner.speed_limit
    address = "yankee.speed_limit" if machine.yankee is not None else "dryer.speed_limit"
    if rated is None:
        rows.append(
            Limit(part="rated speed", duty="within the maker's rating", speed=None, margin=None, scope="not known",
                  status="not given", value=present, word="speed")
        )  # fmt: skip
    else:
        rows.append(
            Limit(part="rated speed", duty="within the maker's rating", speed=float(rated),
                  margin=float(rated) / present - 1, scope="highest", status=_status(machine, address, "nameplate"),
                  value=present, bound=float(rated), word="speed")
        )  # fmt: skip
    window = machine.forming.window
    if window.speed_high < 60.0:
        rows.append(
            Limit(part="stability window", duty="inside what practice runs on this former",
                  speed=float(window.speed_high), margin=float(window.speed_high) / present - 1, scope="window",
                  status="common practice, no source", value=present, bound=float(window.speed_high), word="speed",
                  note=window.reason or "at least ±30 %, not computed")
        )  # fmt: skip
    return rows


def margins(result: Any) -> dict[str, Any]:
    """How far every part of a run is from its limit as it runs, as a share of the limit; negative is beyond it.

    For one case or many and without any search. Limits nobody gave are left out, and so is the window of practice.
    """
    machine, wet, dry = result.machine, result.wet, result.dry
    found: dict[str, Any] = {}
    with np.errstate(invalid="ignore", divide="ignore"):
        for row in _duties(machine):
            if not isinstance(row, _Duty) or row.bound is None or row.part == "drying":
                continue
            if dry is None and row.part not in UPSTREAM:
                continue
            found[row.part] = np.asarray(row.margin(wet, dry)) / np.abs(np.asarray(row.bound))
        owner = machine.yankee if machine.yankee is not None else machine.dryer
        if owner.speed_limit is not None:
            found["rated speed"] = 1 - np.asarray(machine.speed) / np.asarray(owner.speed_limit)
        lowest = np.asarray(wet.formed.jet_speed_lowest)
        if np.all(np.isfinite(lowest)):
            found["jet entry"] = np.asarray(wet.delivery.jet_speed) / lowest - 1
        low_flow = machine.headbox.headbox_flow_limit_low
        if low_flow is not None:
            found["headbox, lowest flow"] = np.asarray(wet.delivery.flow_per_width) / np.asarray(low_flow) - 1
        for nip in machine.press.nip:
            if nip.line_load_limit is not None:
                found[f"press load, {nip.name}"] = 1 - np.asarray(nip.line_load) / np.asarray(nip.line_load_limit)
    return {part: np.float64(np.ravel(margin)[0]) for part, margin in found.items()} if result.single else found
