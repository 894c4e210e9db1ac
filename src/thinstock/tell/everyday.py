"""A machine's numbers beside things everybody knows: bathtubs a minute, the stock behind one tissue, a blink of an eye.

The sizes of the things are round figures (everyday.toml, assumed); every comparison is worked out from the run.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import lru_cache
from importlib.resources import files

from thinstock.tell.teller import Teller
from thinstock.words import units
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase


@lru_cache(maxsize=1)
def things() -> dict[str, dict[str, str]]:
    """The things compared with."""
    return tomllib.loads(files("thinstock.tell").joinpath("everyday.toml").read_text(encoding="utf-8"))


def size(name: str) -> float:
    """Size of a thing, base SI."""
    row = things()[name]
    return units.parse(row["value"], row["kind"])


US = {"volume": (("gal", 3.785e-3), ("mL", 1e-6)), "length": (("in", 0.0),), "time": (("ms", 0.0),)}
"""Units of the things in the set of the United States, each with the size it is used from."""


def told(name: str, unit_set: units.UnitSet) -> str:
    """The size of a thing as text."""
    row = things()[name]
    if unit_set != "us" or row["kind"] not in US:
        return row["value"].replace("m3", "m³")
    unit = next(unit for unit, least in US[row["kind"]] if size(name) >= least)
    return f"{figure(units.from_si(size(name), unit, row['kind']), 2)} {unit}"


def shown(name: str, unit_set: units.UnitSet) -> str:
    """A thing with its size: "a bathtub of 150 L"."""
    return f"{things()[name]['what']} of {told(name, unit_set)}"


def flow(teller: Teller) -> Iterator[str]:
    """The headbox flow, and the stock behind one tissue."""
    result = teller.result
    total = float(result["headbox_flow"])
    tubs = 60 * total / size("bathtub")
    yield (
        phrase(
            "tell.everyday.whole_headbox_delivers_minute_each",
            value=teller.value("headbox_flow"),
            tubs=figure(tubs, 2),
            things=things()["bathtub"]["many"],
            told=told("bathtub", teller.unit_set),
            shown=shown("pool", teller.unit_set),
            minutes=_minutes(size("pool") / total),
        )
    )
    milligrams = 1e9 * size("teaspoon") * float(result["consistency"])
    yield (
        phrase(
            "tell.everyday.in_that_stock_there_mg",
            shown=shown("teaspoon", teller.unit_set),
            milligrams=figure(milligrams, 2),
        )
    )
    crepe = teller.machine.grade.crepe
    if float(result["reel_grammage"]) < 0.03 and float(crepe) > 0:
        yield one_tissue(teller)


def one_tissue(teller: Teller) -> str:
    """How much stock went through the headbox for one tissue."""
    result, grade = teller.result, teller.machine.grade
    side, plies = size("tissue_side"), size("plies")
    fibre = plies * side**2 * float(grade.reel_grammage) * float(grade.reel_dryness)
    stock = fibre / float(result["retention"]) / float(result["consistency"]) / 1e3
    edge = told("tissue_side", teller.unit_set)
    volume = ("gal", "gallons") if teller.unit_set == "us" else ("L", "litres")
    return phrase(
        "tell.everyday.one_tissue_plies_square_holds",
        things=things()["plies"]["value"],
        edge=edge,
        value=figure(1000.0 * fibre, 2),
        from_si=figure(units.from_si(stock, volume[0], "volume"), 2),
        volume=volume[1],
    )


def _minutes(seconds: float) -> str:
    return f"{figure(seconds / 60, 2)} minutes" if seconds >= 60 else f"{figure(seconds, 2)} seconds"


def blinks(seconds: float) -> str:
    """A short time beside a blink of an eye."""
    share = seconds / size("blink")
    told = f"{figure(share, 2)} blinks" if share >= 1 else f"{figure(100 * share, 2)} % of a blink"
    return phrase("tell.everyday.eye", told=told, things=things()["blink"]["value"])


def kettle(joule_per_kg: float) -> str:
    """Energy per kilogram of water beside boiling a litre."""
    return phrase(
        "tell.everyday.times_what_takes",
        joule_per_kg=figure(joule_per_kg / size("kettle"), 2),
        things=things()["kettle"]["what"],
    )


def households(joule_per_year: float) -> str:
    """A year's electricity beside that of households."""
    return f"{figure(joule_per_year / size('household'), 2)} households"
