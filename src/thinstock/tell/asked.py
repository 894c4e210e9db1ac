"""The numbers of a run whose working can be shown, by name: their word, their label, and a wrong name."""

from __future__ import annotations

import re
from typing import Any

from thinstock.errors import Fault, Refused
from thinstock.machine.result import Result


def numbers_of(result: Result) -> dict[str, Any]:
    """Every number of a run whose working can be shown, by name: headline numbers, stations, consumers, stages."""
    sheet = result.worksheet
    if sheet is None:
        return {}
    found: dict[str, Any] = dict(result.values)
    for station in result.stations:
        for field in ("dryness", "moisture_ratio", "grammage", "temperature", "speed"):
            found[f"stations.{_slug(station.name)}.{field}"] = getattr(station, field)
    for user in result.energy:
        found[f"energy.{_slug(user.name)}.power"] = user.power
        found[f"energy.{_slug(user.name)}.per_product"] = user.per_mass
    for price in result.water_prices:
        found[f"water.{price.stage}.water_per_fibre"] = price.water_per_fibre
        found[f"water.{price.stage}.share"] = price.share
    return {n: v for n, v in found.items() if isinstance(v, float) and sheet.knows(v)}


def names_of(result: Result) -> list[str]:
    """Names of the numbers whose working can be shown."""
    return list(numbers_of(result))


def _slug(name: str) -> str:
    return re.sub(r"[^0-9a-z]+", "_", name.lower()).strip("_")


PER_WIDTH = {"W/m": "contact_heat", "kg/(s m)": "evaporation"}
"""A word with the unit of a result that has none of its own."""
WORDS = {"power": "contact_heat", "per_product": "specific_energy", "water_per_fibre": "water_per_fibre"}


def word_of(name: str) -> str:
    """The word of a number that can be explained; empty where none has its unit."""
    from thinstock.tell import export

    if "." not in name:
        return export.word_of(name) or PER_WIDTH.get(export.unit_of(name), "")
    last = name.rsplit(".", 1)[-1]
    return WORDS.get(last, last)


def label_of(name: str) -> str:
    """A number in plain words."""
    from thinstock.tell.export import headline

    if "." not in name:
        return str(headline().get(name, {}).get("label", name.replace("_", " ")))
    kind, which, last = name.split(".")
    said = last.replace("_", " ")
    return f"{said} of the {which.replace('_', ' ')}" if kind != "stations" else f"{said} at {which.replace('_', ' ')}"


def digits_of(name: str) -> int:
    from thinstock.tell.export import headline

    return int(headline().get(name, {}).get("digits", 4))


def unit_of(name: str) -> str:
    """Base SI unit of a number that can be explained; "1" for a plain number."""
    from thinstock.tell import export

    return export.unit_of(name)


def asked(result: Result, name: str) -> str:
    """The full name of a number; refused with the names that exist where there is none."""
    if result.worksheet is None:
        raise Refused(Fault(field=name, bound="a working is kept for one case only, not for a run over many"))
    known = names_of(result)
    tried = re.sub(r"[\s-]+", "_", name.strip())
    if tried in known:
        return tried
    by_label = {label_of(n): n for n in known}
    if name.strip() in by_label:
        return by_label[name.strip()]
    from thinstock.words.address import nearest as near_names

    near = near_names(tried, known)
    first = f"Nearest: {', '.join(near)}. " if near else ""
    held = " (this machine forms no sheet: what lies behind the former does not exist)" if _no_sheet(result) else ""
    raise Refused(Fault(field=name, bound=f"no number of this name{held}", remedy=f"{first}All: {', '.join(known)}."))


def _no_sheet(result: Result) -> bool:
    formed = result.values.get("formed")
    return formed is not None and not bool(formed)
