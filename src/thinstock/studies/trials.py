"""Many formers at many speeds and consistencies through the one drainage march, and what a headbox can supply there.

The sheet, its furnish, temperature, retention and wire stay those of one machine; only former, speed, consistency and
the mat's resistance at machine rate change. A search takes all speeds and resistances side by side, in a few marches.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import Array, worksheet
from thinstock.kernels.drainage import Drained, Element, drain
from thinstock.machine.elements import Arriving, FormingBoard, FormingRoll, Straight
from thinstock.machine.forming import Fabric, Forming
from thinstock.machine.headbox import Delivery, Headbox
from thinstock.machine.line import Machine
from thinstock.machine.run import run_line, surroundings
from thinstock.machine.stock import Stock
from thinstock.relations import drainage, jet, mat
from thinstock.studies.edges import Edges, Margin, crossed
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

THINNEST, THICKEST = 5e-5, 1.5e-2
"""Consistencies between which a lowest one is searched."""
SECOND = 7e-5
"""The consistency that shows, beside the thinnest, which way things go."""
CLOSE = 1e-6
"""Share of a consistency, and m/s of a speed, within which an edge is known."""
SLOWEST, FASTEST = 1.0, 50.0
"""Speeds, m/s, between which a highest one is searched: 60 to 3000 m/min."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """What lies on the wire, whatever the former: the same sheet from the same stock on the same fabric."""

    grammage: Num
    """Bone-dry, on the wire."""
    retention: Num
    consistency: Num
    """As the machine runs."""
    density: Num
    viscosity: Num
    resistance: Num
    """Specific filtration resistance at 1 kPa, as the tester reads it."""
    stock: Stock
    wire: Fabric
    headbox: Headbox
    mat_coefficient: Num = None
    """Of the swollen furnish, kg/m³; None: as the stock has it."""

    @property
    def mat(self) -> Num:
        """Mat consistency at 1 kPa, kg/m³."""
        return self.stock.mat_coefficient if self.mat_coefficient is None else self.mat_coefficient


def sheet_of(machine: Machine) -> Sheet:
    """The sheet of a machine; its retention at the present speed is kept at all others."""
    with worksheet(False):
        parts = run_line(machine, surroundings(machine, single=True), through="loop")
    known = parts.loop.around
    return Sheet(
        grammage=parts.loop.into.fibre,
        retention=parts.loop.state.retention,
        consistency=machine.headbox.consistency,
        density=known.water.density,
        viscosity=known.water.viscosity,
        resistance=known.resistance,
        mat_coefficient=known.furnish.mat_coefficient,
        stock=machine.stock,
        wire=machine.forming.wire,
        headbox=machine.headbox,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """A former at arrays of speeds and consistencies."""

    drained: Drained
    grammage: Num
    arriving: Arriving
    elements: list[Element]
    rows: tuple[tuple[str, int, int], ...]

    @property
    def formed(self) -> Any:
        """True where forming ends inside the forming elements."""
        return np.isfinite(self.drained.dry_line)

    @property
    def length(self) -> Any:
        """Length of the forming elements, m."""
        return sum(np.asarray(e.length) for e in self.elements)

    @property
    def margin(self) -> Array:
        """Logarithm of length over dry line; where none is reached, of fibre on the fabrics over what is to come."""
        laid = np.maximum(self.drained.deposited, 1e-99) / self.grammage
        with np.errstate(invalid="ignore"):
            spare = np.maximum(np.log(self.length / self.drained.dry_line), 0.0)
        found: Array = np.where(self.formed, spare, np.minimum(np.log(laid), -1e-15))
        return found


def trial(sheet: Sheet, forming: Forming, speed: Num, consistency: Num, factor: Num, mat_memory: Num = None) -> Trial:
    """One march over all cases; the mat keeps of its packing what the stock says, where nothing is given."""
    flow = jet.flow_per_width(sheet.grammage, speed, consistency, sheet.retention, sheet.density)
    jet_speed = sheet.headbox.jet_ratio * speed
    arriving = forming.arriving(
        speed=speed,
        density=sheet.density,
        stock_depth=jet.stock_depth(flow, speed),
        jet_thickness=jet.stock_depth(flow, jet_speed),
        jet_speed=jet_speed,
    )
    elements, rows = forming.build(arriving)
    stock = sheet.stock
    drained = drain(
        elements,
        speed=speed,
        grammage=sheet.grammage,
        consistency=consistency,
        retention=sheet.retention,
        density=sheet.density,
        viscosity=sheet.viscosity,
        resistance_coefficient=sheet.resistance,
        resistance_exponent=stock.resistance_exponent,
        resistance_factor=factor,
        mat_coefficient=sheet.mat,
        mat_exponent=stock.mat_exponent,
        mat_pressure_floor=stock.mat_pressure_floor,
        wall_density=stock.wall_density,
        mat_memory=stock.mat_memory if mat_memory is None else mat_memory,
    )
    return Trial(drained=drained, grammage=sheet.grammage, arriving=arriving, elements=elements, rows=rows)


def on_wire(sheet: Sheet, forming: Forming) -> Forming:
    """A former with the sheet's own wire."""
    return dataclasses.replace(forming, wire=sheet.wire)


# -- drainage ------------------------------------------------------------------------------------------------------


def thickest(sheet: Sheet) -> float:
    """Thickest stock that a march takes: below that it is a mat, not stock."""
    stock = sheet.stock
    loosest = mat.mat_consistency_power(0.0, sheet.mat, stock.mat_exponent, stock.mat_pressure_floor)
    return float(min(THICKEST, 0.85 * loosest / (sheet.retention * sheet.density)))


def lowest_consistency(
    sheet: Sheet, forming: Forming, speed: Array, factor: Array, memory: Array | None = None
) -> Array:
    """Lowest consistency that still drains, per case: THINNEST where that does too, nan where none does."""
    every = np.arange(speed.size)

    def margin(at: Array, k: Any) -> Array:
        kept = None if memory is None else memory[k]
        return trial(sheet, forming, speed[k], np.exp(at), factor[k], kept).margin

    ends = np.log([THINNEST, SECOND, thickest(sheet)])
    at = np.repeat(ends, every.size).reshape(3, -1)
    known = margin(at.ravel(), np.tile(every, 3)).reshape(3, -1)
    always, never = known[0] >= 0.0, known[2] < 0.0
    found = np.where(always, THINNEST, np.nan)
    some = np.flatnonzero(~always & ~never)
    edges = Edges.among(at[:, some], known[:, some])
    found[some] = np.exp(crossed(lambda x, k: margin(x, some[k]), edges, CLOSE))
    return found


def jet_margin(sheet: Sheet, forming: Forming, speed: Array) -> Array:
    """Logarithm of jet speed over the least that enters against the pressure of the first roll; inf without one."""
    first = next((e for e in forming.element if not isinstance(e, FormingBoard | Straight)), None)
    if not isinstance(first, FormingRoll):
        return np.full(np.shape(speed), np.inf)
    radius = first.roll_diameter / 2.0
    pressure = drainage.pressure_forming_roll(first.fabric_tension, sheet.wire.fabric_mass, speed, radius)
    with np.errstate(invalid="ignore"):
        lowest = jet.jet_speed_lowest_into_pressure(pressure, sheet.density)
        return np.where(lowest > 0.0, np.log(sheet.headbox.jet_ratio * speed / lowest), np.inf)


def jet_enters(sheet: Sheet, forming: Forming, speed: Array) -> Any:
    """True where the jet is fast enough to enter against the pressure of the first roll; always, where none waits."""
    return jet_margin(sheet, forming, speed) >= 0.0


def speed_intervals(
    sheet: Sheet, forming: Forming, consistency: float, factors: tuple[float, ...],
    memories: tuple[float, ...] | None = None,
) -> tuple[tuple[tuple[float, float], ...], ...]:  # fmt: skip
    """Per factor (and memory of the mat) all intervals of speed at which it drains and the jet enters; ends to 1e-6."""
    grid = np.arange(SLOWEST, FASTEST + 0.5)
    factor = np.asarray(factors, dtype=float)
    memory = np.full(factor.shape, float(sheet.stock.mat_memory)) if memories is None else np.asarray(memories)

    def margin(v: Array, k: Any) -> Array:
        drains = trial(sheet, forming, v, consistency, factor[k], memory[k]).margin
        return np.minimum(drains, jet_margin(sheet, forming, v))

    known = margin(np.tile(grid, factor.size), np.repeat(np.arange(factor.size), grid.size)).reshape(-1, grid.size)
    ok = known >= 0.0
    edges = [(k, i) for k in range(len(factors)) for i in np.flatnonzero(ok[k, 1:] != ok[k, :-1])]
    ends = _edges(margin, grid, known, edges)
    return tuple(_joined(ok[k], grid, [e for e, (n, _) in zip(ends, edges, strict=True) if n == k])
                 for k in range(len(factors)))  # fmt: skip


def _edges(margin: Margin, grid: Array, known: Array, edges: list[tuple[int, Any]]) -> list[float]:
    """The speeds at which the answer changes, all looked for together; each is taken on the side that is fine."""
    if not edges:
        return []
    which = np.array([k for k, _ in edges])
    steps = np.array([range(i - 2, i + 2) if known[k, i] < 0.0 else range(i + 3, i - 1, -1) for k, i in edges]).T
    there = np.where((steps >= 0) & (steps < grid.size), known[which, np.clip(steps, 0, grid.size - 1)], 0.0)
    found = Edges.among(grid[np.clip(steps, 0, grid.size - 1)], there)
    return [float(v) for v in crossed(lambda v, k: margin(v, which[k]), found, CLOSE)]


def _joined(ok: Any, grid: Array, ends: list[float]) -> tuple[tuple[float, float], ...]:
    """Intervals from the ends between them, which alternate."""
    marks = ([float(grid[0])] if ok[0] else []) + ends + ([float(grid[-1])] if ok[-1] else [])
    return tuple(zip(marks[::2], marks[1::2], strict=True))


# -- supply --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class Cap:
    """One thing that supplies the jet and may not be asked for more than its limit."""

    name: str
    limit: float
    load: Callable[[Delivery], Num]
    status: str
    """Of the limit."""


def caps_of(machine: Machine, power_limit: float | None) -> tuple[Cap, ...]:
    """Every limit of the supply that is given; one that is not known is left out, and named by `unknown_caps`."""
    return tuple(cap for _, cap in _caps(machine, power_limit) if cap is not None)


def unknown_caps(machine: Machine) -> tuple[str, ...]:
    """The limits of the supply that nobody gave."""
    return tuple(name for name, cap in _caps(machine, None) if cap is None and name != "pump power")


def _caps(machine: Machine, power_limit: float | None) -> list[tuple[str, Cap | None]]:
    width = machine.width
    known: list[tuple[str, str, Callable[[Delivery], Num]]] = [
        ("slice", "headbox.slice_opening_limit", lambda d: d.slice_opening),
        ("headbox, flow", "headbox.headbox_flow_limit_high", lambda d: d.flow_per_width),
        ("headbox, pressure", "headbox.headbox_pressure_limit", lambda d: d.headbox_head),
        (phrase("studies.trials.fan_pump_flow"), "headbox.fan_pump_flow_limit", lambda d: d.fan_flow_per_width * width),
        (
            phrase("studies.trials.fan_pump_pressure"),
            "headbox.fan_pump_head_limit",
            lambda d: d.headbox_head + d.line_loss,
        ),
        ("screens", "loop.screen_flow_limit", lambda d: d.fan_flow_per_width * width),
        ("silo", "loop.silo_flow_limit", lambda d: d.mass_flow_per_width * width),
    ]
    rows: list[tuple[str, Cap | None]] = []
    for name, address, load in known:
        limit, given = machine.get(address), machine.given.get(address)
        status = given.status if given is not None and given.status else "assumed"
        rows.append((name, None if limit is None else Cap(name=name, limit=float(limit), load=load, status=status)))
    power = None
    if power_limit is not None:
        power = Cap(name="pump power", limit=power_limit, load=lambda d: d.fan_power, status="given")
    return [*rows, ("pump power", power)]


def delivery(sheet: Sheet, machine: Machine, speed: Num, consistency: Num) -> Delivery:
    """What headbox and fan pump must deliver there."""
    headbox = dataclasses.replace(sheet.headbox, consistency=consistency)
    return headbox.deliver(
        grammage=sheet.grammage,
        wire_speed=speed,
        retention=sheet.retention,
        density=sheet.density,
        reject_share=machine.loop.reject_share,
    )


def _loads(caps: tuple[Cap, ...], delivered: Delivery, count: int) -> Array:
    """Load over limit, per cap and case."""
    return np.array([np.broadcast_to(np.asarray(cap.load(delivered)) / cap.limit, (count,)) for cap in caps])


def lowest_supplied(sheet: Sheet, machine: Machine, caps: tuple[Cap, ...], speed: Array) -> Array:
    """Per cap and speed the lowest consistency it can supply; nan where it cannot at any consistency."""
    many = speed.size
    if not caps:
        return np.empty((0, many))
    speeds = np.tile(speed, len(caps))
    low, high = np.full(speeds.shape, np.log(2e-7)), np.full(speeds.shape, np.log(0.049))
    picked = np.arange(len(caps)).repeat(many), np.arange(speeds.size)

    def too_much(consistency: Array) -> Any:
        return _loads(caps, delivery(sheet, machine, speeds, consistency), speeds.size)[picked] > 1.0

    never = too_much(np.exp(high))
    for _ in range(40):
        middle = 0.5 * (low + high)
        over = too_much(np.exp(middle))
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    return np.where(never, np.nan, np.exp(high)).reshape(len(caps), many)


def highest_supplied(sheet: Sheet, machine: Machine, caps: tuple[Cap, ...], consistency: float) -> Array:
    """Per cap the highest speed it can supply at a consistency; 0 where it cannot at any, inf beyond FASTEST."""
    if not caps:
        return np.empty(0)
    low, high = np.full(len(caps), 0.02), np.full(len(caps), FASTEST)

    def too_much(speed: Array) -> Any:
        loads = _loads(caps, delivery(sheet, machine, speed, consistency), len(caps))
        return np.diagonal(loads) > 1.0

    never, always = too_much(low), ~too_much(high)
    for _ in range(40):
        middle = 0.5 * (low + high)
        over = too_much(middle)
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return np.where(never, 0.0, np.where(always, np.inf, low))
