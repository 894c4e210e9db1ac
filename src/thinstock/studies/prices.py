"""The prices file of a rebuild: what energy, water, carbon dioxide and money cost, each with a range and a source.

Reads and refuses; computes nothing. A range is a likeliest value between two ends. What no file gives is not counted,
and the study says so.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from thinstock.case import text as reading
from thinstock.case.lines import lines_of
from thinstock.errors import Fault, Refused
from thinstock.evidence.distributions import Triangular
from thinstock.files.read import foreign
from thinstock.words.address import nearest
from thinstock.words.phrase import phrase
from thinstock.words.units import NATURAL_GAS_HEATING_VALUE_RATIO

FORMAT = 1
EXAMPLE = "example"
OWN = "user input"

_AMOUNT = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_GAS = {"LHV": 1.0, "HHV": NATURAL_GAS_HEATING_VALUE_RATIO}

_PER_ENERGY = {"money/MWh": 1 / 3.6e9, "money/GJ": 1e-9, "money/kWh": 1 / 3.6e6}
_PER_ENERGY_GAS = {
    f"{unit} {name}": factor * ratio for unit, factor in _PER_ENERGY.items() for name, ratio in _GAS.items()
}
_PER_MASS = {"money/t": 1e-3, "money/kg": 1.0}
_WATER = {"money/t": 1e-3, "money/m3": 1e-3}
_CO2 = {"kg/GJ": 1e-9, "kg/MWh": 1 / 3.6e9, "kg/kWh": 1 / 3.6e6, "t/MWh": 1e3 / 3.6e9}
_CO2_GAS = {f"{unit} {name}": factor * ratio for unit, factor in _CO2.items() for name, ratio in _GAS.items()}
_MONEY = {"money": 1.0}
_HOURS = {"h": 3600.0, "d": 86400.0}


@dataclass(frozen=True, kw_only=True)
class Amount:
    """One amount in base SI (money as it is), with the range it may lie in and its source."""

    value: float
    text: str
    low: float | None = None
    high: float | None = None
    source: str = OWN
    note: str = ""

    @property
    def ranged(self) -> bool:
        return self.low is not None

    @property
    def distribution(self) -> Triangular | None:
        """Between its ends with the likeliest value; None where no range is given."""
        if self.low is None or self.high is None:
            return None
        return Triangular(self.low, self.value, self.high)


@dataclass(frozen=True, kw_only=True)
class Prices:
    """A prices file. Amounts by name: `price.gas`, `emission.gas`, `rebuild.investment`, `yearly.<name>` ..."""

    file: str
    title: str
    note: str
    currency: str
    year: int
    years: int
    rate: Amount
    amounts: Mapping[str, Amount] = field(default_factory=dict)

    def get(self, name: str) -> Amount | None:
        """An amount, or None where the file does not give it."""
        return self.amounts.get(name)

    @property
    def yearly(self) -> dict[str, Amount]:
        """Other yearly costs by name."""
        return {n.removeprefix("yearly."): a for n, a in self.amounts.items() if n.startswith("yearly.")}


@dataclass(frozen=True, kw_only=True)
class _Kind:
    """What an amount may be."""

    units: Mapping[str, float]
    what: str
    low: float = 0.0
    required: bool = False
    above: bool = False
    """Must be above `low`, not at it."""


KINDS: dict[str, _Kind] = {
    "run.hours": _Kind(units=_HOURS, what="a time", required=True, above=True),
    "price.electricity": _Kind(units=_PER_ENERGY, what=phrase("studies.prices.price_energy")),
    "price.gas": _Kind(units=_PER_ENERGY_GAS, what=phrase("studies.prices.price_gas_that_says_lhv")),
    "price.steam": _Kind(units=_PER_ENERGY, what=phrase("studies.prices.price_heat_in_steam")),
    "price.fresh_water": _Kind(units=_WATER, what=phrase("studies.prices.price_water")),
    "price.co2": _Kind(units=_PER_MASS, what=phrase("studies.prices.price_carbon_dioxide")),
    "emission.gas": _Kind(units=_CO2_GAS, what=phrase("studies.prices.emission_factor_that_says_lhv")),
    "emission.steam": _Kind(units=_CO2, what=phrase("studies.prices.emission_factor")),
    "emission.electricity": _Kind(units=_CO2, what=phrase("studies.prices.emission_factor")),
    "rebuild.investment": _Kind(units=_MONEY, what=phrase("studies.prices.amount_money"), required=True, above=True),
    "rebuild.stop": _Kind(units=_HOURS, what="a time"),
    "rebuild.contribution": _Kind(units=_PER_MASS, what=phrase("studies.prices.money_per_tonne")),
}
_TOP = ("format", "title", "note", "currency", "year", "run", "price", "emission", "rebuild", "yearly")
_PARTS = ("value", "low", "high", "source", "note")
_YEAR = 366 * 86400.0


def load_prices(name: str | Path) -> Prices:
    """The prices of a file, or "example" for the invented ones that come along."""
    if str(name) == EXAMPLE:
        found = files("thinstock").joinpath("library", "prices", "example.toml").read_text(encoding="utf-8")
        return read_prices(found, "prices example")
    try:
        origin = reading.origin_of_file(Path(name))
    except Refused as refused:
        bound = refused.faults[0].bound.replace(phrase("studies.prices.or_bundled_machine"), "")
        fault = Fault(
            field="--prices", value=str(name), bound=bound, remedy=phrase("studies.prices.or_take_prices_example")
        )
        raise Refused(fault) from None
    return read_prices(origin.text, origin.file)


def read_prices(content: str, file: str = "prices") -> Prices:
    """The prices of a text; everything that is wrong is refused at once."""
    with foreign(file):
        data, mended, faults = reading.parsed(content, file)
        return _Reader(file, lines_of(mended), data, faults).prices()


class _Reader:
    """One reading: what was found so far."""

    def __init__(self, file: str, places: Any, data: dict[str, Any], faults: list[Fault]) -> None:
        self.file, self.places, self.data, self.faults = file, places, data, faults
        currency = data.get("currency", "money")
        self.currency = currency if isinstance(currency, str) and currency.strip() else "money"

    def fault(self, key: tuple[str | int, ...], value: Any, bound: str, remedy: str = "") -> None:
        """Note something wrong at a place of the file."""
        at = key
        while at and at not in self.places:
            at = at[:-1]
        self.faults.append(
            Fault(field=".".join(str(k) for k in key), value=_shown(value), bound=bound, remedy=remedy, file=self.file,
                  line=self.places.get(at) if at else None)
        )  # fmt: skip

    def prices(self) -> Prices:
        """The whole file, or everything that is wrong."""
        data = self.data
        if data.get("format") != FORMAT:
            self.fault(
                ("format",),
                data.get("format"),
                phrase("studies.prices.must_be_one"),
                phrase("studies.prices.begin_file_with_format"),
            )
        self._unknown((), data, _TOP)
        for name in ("title", "note", "currency"):
            if not isinstance(data.get(name, ""), str):
                self.fault((name,), data[name], phrase("studies.prices.must_be_text_in_quotes"))
        if not isinstance(data.get("currency"), str) or not data["currency"].strip():
            self.fault(
                ("currency",),
                data.get("currency"),
                phrase("studies.prices.currency_needed"),
                phrase("studies.prices.write_currency_money"),
            )
        year = data.get("year")
        if isinstance(year, bool) or not isinstance(year, int) or not 1900 <= year <= 2200:
            self.fault(("year",), year, phrase("studies.prices.year_prices_needed"), "Write year = 2026.")
            year = 0
        amounts = self._amounts()
        years = self._years()
        rate = self._rate()
        if self.faults:
            raise Refused(self.faults)
        assert rate is not None
        return Prices(
            file=self.file, title=data.get("title", ""), note=data.get("note", ""), currency=self.currency,
            year=year, years=years, rate=rate, amounts=amounts,
        )  # fmt: skip

    def _unknown(self, at: tuple[str | int, ...], table: Mapping[str, Any], known: tuple[str, ...]) -> None:
        for name in table:
            if name not in known:
                near = nearest(name, known) or known
                self.fault(
                    (*at, name), "", phrase("studies.prices.there_no_such_entry"), f"Nearest: {', '.join(near)}."
                )

    def _amounts(self) -> dict[str, Amount]:
        found: dict[str, Amount] = {}
        for section in ("run", "price", "emission", "rebuild"):
            table = self.data.get(section, {})
            if not isinstance(table, dict):
                self.fault((section,), table, phrase("studies.prices.must_be_table"), f"Write [{section}].")
                continue
            names = tuple(name.partition(".")[2] for name in KINDS if name.startswith(f"{section}."))
            self._unknown((section,), table, (*names, "years", "rate") if section == "rebuild" else names)
            for name in names:
                full = f"{section}.{name}"
                if name not in table:
                    if KINDS[full].required:
                        example = f'"8200 {next(iter(KINDS[full].units))}"'
                        self.fault(
                            (section, name),
                            None,
                            phrase("studies.prices.needed"),
                            phrase("studies.prices.add_under", name=name, example=example, section=section),
                        )
                    continue
                amount = self._amount((section, name), table[name], KINDS[full])
                if amount is not None:
                    found[full] = amount
        return found | self._yearly()

    def _yearly(self) -> dict[str, Amount]:
        found: dict[str, Amount] = {}
        rows = self.data.get("yearly", [])
        if not isinstance(rows, list):
            self.fault(("yearly",), rows, phrase("studies.prices.must_be_list"), "Write [[yearly]].")
            return found
        kind = _Kind(units=_MONEY, what=phrase("studies.prices.amount_money"), low=-math.inf)
        for number, row in enumerate(rows):
            at = ("yearly", number)
            if not isinstance(row, dict) or not isinstance(row.get("name"), str) or "cost" not in row:
                self.fault(
                    at,
                    row,
                    phrase("studies.prices.needs_name_cost"),
                    phrase("studies.prices.write_name_felts_cost_money"),
                )
                continue
            self._unknown(at, row, ("name", "cost"))
            full = f"yearly.{row['name']}"
            if full in found:
                self.fault(
                    (*at, "name"),
                    row["name"],
                    phrase("studies.prices.stands_twice"),
                    phrase("studies.prices.give_each_yearly_cost_name"),
                )
            amount = self._amount((*at, "cost"), row["cost"], kind)
            if amount is not None:
                found[full] = amount
        return found

    def _years(self) -> int:
        years = self._rebuild().get("years")
        if isinstance(years, bool) or not isinstance(years, int) or not 1 <= years <= 60:
            self.fault(
                ("rebuild", "years"), years, phrase("studies.prices.whole_number_years_from_to"), "Write years = 15."
            )
            return 1
        return years

    def _rebuild(self) -> Mapping[str, Any]:
        table = self.data.get("rebuild", {})
        return table if isinstance(table, dict) else {}

    def _rate(self) -> Amount | None:
        """The rate of interest, which must say that it is a percentage."""
        raw = self._rebuild().get("rate")
        bare = raw.get("value") if isinstance(raw, dict) else raw
        if bare is None:
            self.fault(
                ("rebuild", "rate"), None, phrase("studies.prices.yearly_rate_interest_needed"), 'Write rate = "8 %".'
            )
            return None
        plain = isinstance(bare, int | float) or (
            isinstance(bare, str) and _AMOUNT.fullmatch(bare) and bare.strip()[-1:].isdigit()
        )
        if plain:
            number = float(bare)
            write = " or ".join(f'"{n:g} %"' for n in dict.fromkeys((number, 100 * number)))
            bound = phrase("studies.prices.could_be_percentage_or_share")
            self.fault(("rebuild", "rate"), bare, bound, phrase("studies.prices.write_one_that_meant", write=write))
            return None
        kind = _Kind(units={"%": 0.01, "percent": 0.01}, what="a percentage")
        return self._amount(("rebuild", "rate"), raw, kind, highest=1.0)

    def _amount(self, key: tuple[str | int, ...], raw: Any, kind: _Kind, highest: float | None = None) -> Amount | None:
        """One amount with its range."""
        before = len(self.faults)
        table = raw if isinstance(raw, dict) else {"value": raw}
        self._unknown(key, table, _PARTS)
        if "value" not in table:
            self.fault(key, raw, phrase("studies.prices.table_lacks_its_value"), "Add value = ...")
            return None
        read = {p: self._number((*key, p) if isinstance(raw, dict) else key, table[p], kind, highest)
                for p in ("value", "low", "high") if p in table}  # fmt: skip
        for part in ("source", "note"):
            if not isinstance(table.get(part, ""), str):
                self.fault((*key, part), table[part], phrase("studies.prices.must_be_text_in_quotes"))
        if ("low" in table) != ("high" in table):
            self.fault(
                key, raw, phrase("studies.prices.range_has_two_ends"), phrase("studies.prices.give_low_high_or_neither")
            )
        if len(self.faults) > before:
            return None
        value, low, high = (read.get(part) for part in ("value", "low", "high"))
        assert value is not None
        if low is not None and high is not None:
            if not low < high:
                self.fault(
                    key,
                    f"{table['low']} to {table['high']}",
                    phrase("studies.prices.range_empty"),
                    phrase("studies.prices.low_must_be_below_high"),
                )
            elif not low <= value <= high:
                self.fault(
                    key,
                    table["value"],
                    phrase("studies.prices.lies_outside_its_own_range"),
                    f"Between {table['low']} and {table['high']}.",
                )
            if len(self.faults) > before:
                return None
        return Amount(value=value, text=str(table["value"]), low=low, high=high, source=table.get("source") or OWN,
                      note=table.get("note", ""))  # fmt: skip

    def _number(self, key: tuple[str | int, ...], raw: Any, kind: _Kind, highest: float | None) -> float | None:
        units = list(kind.units)
        example = " or ".join(f'"... {unit}"' for unit in units[:2])
        if not isinstance(raw, str):
            bare = isinstance(raw, int | float) and not isinstance(raw, bool)
            bound = (
                phrase("studies.prices.needs_its_unit_in_quotes", what=kind.what)
                if bare
                else phrase("studies.prices.must_be_in_quotes", what=kind.what)
            )
            self.fault(key, raw, bound, phrase("studies.prices.write", example=example))
            return None
        found = _AMOUNT.match(raw)
        unit = None if found is None else self._unit(found[2], kind.units)
        if found is None or unit is None:
            self.fault(
                key,
                raw,
                phrase("studies.prices.not_what", what=kind.what),
                phrase("studies.prices.write", example=example),
            )
            return None
        number = float(found[1]) * kind.units[unit]
        if not math.isfinite(number):
            self.fault(key, raw, phrase("studies.prices.not_finite_number"))
        elif number < kind.low or (kind.above and number == kind.low):
            self.fault(
                key,
                raw,
                phrase("studies.prices.must_be_above_zero")
                if kind.above
                else phrase("studies.prices.must_not_be_negative"),
                phrase("studies.prices.price_below_zero_no_price") if key[0] == "price" else "",
            )
        elif highest is not None and number > highest:
            self.fault(key, raw, phrase("studies.prices.above_whole"))
        elif kind.units is _HOURS and number > _YEAR:
            self.fault(key, raw, phrase("studies.prices.longer_than_year"))
        else:
            return number
        return None

    def _unit(self, given: str, units: Mapping[str, float]) -> str | None:
        """The unit of a text; the file's own currency counts as money."""
        smooth = " ".join(given.replace("³", "3").split())
        first, stroke, rest = smooth.partition("/")
        if first.strip() == self.currency:
            smooth = f"money{stroke}{rest}"
        return next((unit for unit in units if unit.lower() == smooth.lower()), None)


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    return f'"{value}"' if isinstance(value, str) and value else str(value)
