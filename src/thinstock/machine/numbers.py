"""Every number of a run, read once from numbers.toml: label, word or unit, digits, where it exists, where it is told.

A new result number is one value in the run and one table in that file; what the table lacks is refused at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

from thinstock.errors import Fault, Refused
from thinstock.words import nomenclature
from thinstock.words.phrase import phrase

HOME: Final = "machine/numbers.toml"
EXISTS: Final = ("always", "sheet", "yankee", "circuit", "asked")
"""Where a number exists: in every run; where a sheet is formed; where a sheet is formed and dried on a Yankee; where a
sheet is formed and water circuits are given; in no run as such, but worked out when it is asked for."""
LINES: Final = ("headline", "strip", "moved", "study", "compare", "terminal", "page", "paper")
"""Where a number may be told, as numbers.toml says of each."""
OWN_UNITS: Final = ("1", phrase("machine.numbers.true_or_false"))
"""Units of numbers that no word can have."""

PLACES: Final[Mapping[str, Mapping[str, str]]] = MappingProxyType(
    {
        "stations": {name: name for name in ("dryness", "moisture_ratio", "grammage", "temperature", "speed")},
        "streams": {
            "fibre": "fibre_flow_per_width",
            "fines": "fibre_flow_per_width",
            "water": "water_flow_per_width",
            "air": "air_flow_per_width",
            "heat": "enthalpy_flow",
            "temperature": "temperature",
        },
        "energy": {"power": "power_per_width", "per_mass": "specific_energy"},
        "water": {"water_per_fibre": "water_per_fibre", "share": "share"},
    }
)
"""Words of the numbers at a place of the run: of a station, a stream, a user of energy, a stage that takes water."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Number:
    """What is known of one number of a run, whatever its value."""

    name: str
    label: str
    short: str
    """The label where room is scarce."""
    word: str
    """Of the nomenclature; empty where none can have it."""
    unit: str
    """Base SI."""
    digits: int = 3
    exists: str = "always"
    lines: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def numbers() -> Mapping[str, Number]:
    """Every number by name, in the order in which they are shown."""
    return read(files("thinstock.machine").joinpath("numbers.toml").read_text(encoding="utf-8"))


def read(text: str) -> Mapping[str, Number]:
    """The numbers of such a file; all that is missing or wrong in it is refused together, with what to add."""
    rows = tomllib.loads(text)
    faults = [fault for name, row in rows.items() for fault in _faults(name, row)]
    if faults:
        raise Refused(faults)
    return MappingProxyType({name: _number(name, row) for name, row in rows.items()})


def _number(name: str, row: Mapping[str, Any]) -> Number:
    word = row.get("word", "")
    unit = nomenclature.word(word).unit if word else row["unit"]
    return Number(
        name=name, label=row["label"], short=row.get("short", row["label"]), word=word, unit=unit,
        digits=row["digits"], exists=row["exists"], lines=tuple(row["lines"]),
    )  # fmt: skip


def _faults(name: str, row: Mapping[str, Any]) -> Iterator[Fault]:
    def fault(key: str, bound: str, remedy: str) -> Fault:
        return Fault(field=f"{name}.{key}", value=str(row.get(key, "")), bound=bound, remedy=remedy, file=HOME)

    if not row.get("label"):
        yield fault(
            "label",
            phrase("machine.numbers.number_needs_plain_words"),
            phrase("machine.numbers.add_label_to_in", name=name, home=HOME),
        )
    if ("word" in row) == ("unit" in row):
        yield fault("word", phrase("machine.numbers.number_needs_either_word_or"),
                    phrase("machine.numbers.add_word_to_in_word", name=name, home=HOME))  # fmt: skip
    elif "word" in row and row["word"] not in nomenclature.words():
        yield fault("word", phrase("machine.numbers.nomenclature_has_no_such_word"),
                    phrase("machine.numbers.add_with_its_unit_to", row=row['word']))  # fmt: skip
    elif "unit" in row and row["unit"] not in OWN_UNITS:
        yield fault("unit", phrase("machine.numbers.number_without_word_has_unit", own_units=' or '.join(OWN_UNITS)),
                    phrase("machine.numbers.put_word_in_its_place", name=name, home=HOME))  # fmt: skip
    if not isinstance(row.get("digits"), int) or row["digits"] < 1:
        yield fault(
            "digits",
            phrase("machine.numbers.how_many_digits_number_deserves"),
            phrase("machine.numbers.add_digits_to_in", name=name, home=HOME),
        )
    if row.get("exists") not in EXISTS:
        yield fault(
            "exists",
            f"one of {', '.join(EXISTS)}",
            phrase("machine.numbers.add_exists_always_to_in", name=name, home=HOME),
        )
    if not isinstance(row.get("lines"), list) or not set(row["lines"]) <= set(LINES):
        yield fault(
            "lines",
            phrase("machine.numbers.where_it_told_any", lines=", ".join(LINES)),
            phrase("machine.numbers.add_lines_to_in", name=name, home=HOME),
        )
    for key in sorted(row.keys() - {"label", "short", "word", "unit", "digits", "exists", "lines"}):
        yield fault(
            key,
            phrase("machine.numbers.no_key_this_file"),
            phrase("machine.numbers.take_it_out_in", name=name, home=HOME),
        )


def number(name: str) -> Number:
    """A number of a run by its name, or one at a place ("stations.reel.dryness"); refused where there is none."""
    if name in numbers():
        return numbers()[name]
    word = PLACES.get(name.partition(".")[0], {}).get(name.rpartition(".")[2], "") if "." in name else ""
    if not word:
        raise Refused(
            Fault(field=name, bound=phrase("machine.numbers.no_number_run"), file=HOME,
                  remedy=phrase("machine.numbers.add_to_with_label_word", name=name, home=HOME))
        )  # fmt: skip
    label = name.replace("_", " ")
    return Number(name=name, label=label, short=label, word=word, unit=nomenclature.word(word).unit)


def told_in(line: str, names: Iterable[str] | None = None) -> tuple[Number, ...]:
    """The numbers told there, in their order; of these names only, where some are given."""
    assert line in LINES, line
    chosen = None if names is None else frozenset(names)
    return tuple(n for n in numbers().values() if line in n.lines and (chosen is None or n.name in chosen))


@lru_cache(maxsize=1)
def headline() -> Mapping[str, Number]:
    """The headline numbers in their order."""
    return MappingProxyType({one.name: one for one in told_in("headline")})


@lru_cache(maxsize=len(EXISTS))
def existing(where: str) -> frozenset[str]:
    """Names of the numbers that exist there: one of `EXISTS`."""
    return frozenset(name for name, one in numbers().items() if one.exists == where)
