"""What the address of the sheet page asks, read and checked: everything wrong with it is refused together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from thinstock.app.state import Opened, State
from thinstock.errors import Fault, Refused
from thinstock.machine.evenness import SPOTS, End, Spots, ends_of
from thinstock.sheet.formation import HOLE_DIAMETER
from thinstock.sheet.showcase import GRADES, GradeSheet, library_grade
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.figures import figure

MOST = 4
LIGHTEST, HEAVIEST = 0.008, 0.15
"""A tea bag and a ply of board, bone-dry on the wire, kg/m²."""
SIZES = {"palm": (48e-3, 50e-6), "hand": (100e-3, 25e-6), "metre": (1.0, 50e-6)}
"""Side and pixel, m."""
SHARES = (0.5, 1.0, 2.0, 4.0)
"""Consistencies shown first, as multiples of the machine's own."""
TARGETS = ("cv", "formation_number", "holes_per_area")
MOST_SEEDS = 10**6


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What the address asks of this page, read and checked."""

    consistencies: tuple[float, ...]
    texts: tuple[str, ...]
    grammage: float | None
    """On the wire, where the address gives another than the machine's, kg/m²."""
    variation: float
    ends: Mapping[str, End]
    """Best, base and worst; the sheets shown are the base."""
    assumed: bool
    """True where nobody gave the variation."""
    orientation: float
    size: str
    seed: int
    zone: float
    hole_diameter: float
    target: str
    aim: float | None
    aim_text: str
    grade: GradeSheet | None
    """A grade of the library in place of the machine's own sheet."""
    spots: Spots


def _number(
    state: State, name: str, default: float, kind: str, unit: str, low: float, high: float, faults: list[Fault]
) -> float:
    text = state.own(name)
    if not text:
        return default
    try:
        value = units.parse(text if not _bare(text) or not unit else f"{text} {unit}", kind, field=name)
    except units.UnitError as error:
        faults.append(Fault(field=name, value=text, bound=error.reason, remedy=error.remedy))
        return default
    if not low <= value <= high:
        ends = " to ".join(units.write(end, unit or "1", 3, kind=kind) for end in (low, high))
        faults.append(fault_in("app.sheet.must_lie_in", name, text, ends=ends))
        return default
    return value


def _bare(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _ends(opened: Opened, faults: list[Fault]) -> Mapping[str, End]:
    """Best, base and worst, with the variation that the address gives."""
    ends = ends_of(opened.machine.stock)
    usual = float(ends["base"].suspension_variation)
    variation = _number(opened.state, "v", usual, "number", "", 0.0, 1.0, faults)
    if not opened.state.own("v"):
        return ends
    return {name: end._replace(suspension_variation=variation) for name, end in ends.items()}


def _grade(state: State, faults: list[Fault]) -> GradeSheet | None:
    """The grade that the address names by its number, from board to tea bag; 0 is the machine's own sheet."""
    text = state.own("grade", "0")
    if not (text.isascii() and text.isdigit() and int(text) <= len(GRADES)):
        faults.append(fault_in("app.sheet.grade", "grade", text, most=len(GRADES)))
        return None
    return library_grade(GRADES[int(text) - 1]) if int(text) else None


def _spots(state: State, faults: list[Fault]) -> Spots:
    """Other sources of holes: how many spots, how wide, and what they leave of the grammage."""
    return Spots(
        _number(state, "spots", SPOTS.per_area, "number", "", 0.0, 1e6, faults),
        _number(state, "spot", SPOTS.diameter, "length", "mm", 1e-4, 0.05, faults),
        _number(state, "left", SPOTS.left, "fraction", "%", 0.01, 1.0, faults),
    )


def _consistencies(
    opened: Opened, grade: GradeSheet | None, unit: str, faults: list[Fault]
) -> tuple[list[float], list[str]]:
    """The consistencies asked for, or some around the usual one, and how they were written."""
    texts = [t for t in opened.state.own_all("c") if t.strip()][:MOST]
    if not texts:
        own = float(opened.machine.headbox.consistency) if grade is None else grade.usual
        shares = [own * share for share in SHARES if own * share <= 0.05]
        return shares, [units.write(c, "%", 3, kind="fraction") for c in shares]
    found = []
    for number, text in enumerate(texts):
        one = replace(opened.state, more=(("c", text),))
        found.append(_number(one, "c", 0.002, "fraction", unit, 1e-7, 0.05, faults))
        if faults and faults[-1].field == "c":
            faults[-1] = replace(faults[-1], field=f"c{number + 1}")
    return found, texts


def wanted(opened: Opened) -> Wanted:
    """What the address asks; everything wrong with it is refused together."""
    state, machine = opened.state, opened.machine
    faults: list[Fault] = []
    unit = "" if state.unit_set == "si" else "%"
    grade = _grade(state, faults)
    found, texts = _consistencies(opened, grade, unit, faults)
    given = machine.stock.suspension_variation
    target = machine.grade.formation_target
    chosen = state.own("target") or next((n for n in TARGETS if target is not None and getattr(target, n)), "cv")
    if chosen not in TARGETS:
        faults.append(fault_in("app.sheet.target", "target", chosen, targets=", ".join(TARGETS)))
        chosen = "cv"
    aim_unit = "%" if chosen == "cv" else ""
    aim: float | None = None
    aim_text = state.own("aim")
    if aim_text:
        aim = _number(state, "aim", 0.1, "number" if chosen != "cv" else "fraction", aim_unit, 1e-6, 1e12, faults)
    elif target is not None and getattr(target, chosen, None):
        aim = float(getattr(target, chosen))
        aim_text = figure(aim * 100, 3) + " %" if chosen == "cv" else figure(aim, 3)
    size = state.own("size", "palm")
    if size not in SIZES:
        faults.append(fault_in("app.sheet.size", "size", size, sizes=", ".join(SIZES)))
        size = "palm"
    seed = state.own("seed", "1")
    if not (seed.isascii() and seed.isdigit() and int(seed) < MOST_SEEDS):
        faults.append(fault_in("app.sheet.seed", "seed", seed, most_seeds=MOST_SEEDS))
        seed = "1"
    ends = _ends(opened, faults)
    made = Wanted(
        consistencies=tuple(found),
        texts=tuple(texts),
        grammage=_number(state, "w", 0.0, "grammage", "g/m2", LIGHTEST, HEAVIEST, faults) or None,
        variation=float(ends["base"].suspension_variation),
        ends=ends,
        assumed=given is None and not state.own("v"),
        orientation=_number(state, "orientation", 0.0, "number", "", 0.0, 0.9, faults),
        size=size,
        seed=int(seed),
        zone=_number(state, "zone", float(target.zone) if target else 1e-3, "length", "mm", 1e-4, 0.02, faults),
        hole_diameter=float(target.hole_diameter) if target else HOLE_DIAMETER,
        target=chosen,
        aim=aim,
        aim_text=aim_text,
        grade=grade,
        spots=_spots(state, faults),
    )
    if faults:
        raise Refused(faults)
    return made
