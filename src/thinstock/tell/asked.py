"""The numbers of a run whose working can be shown, by name: their word, their label, and a wrong name."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from thinstock.errors import Refused
from thinstock.machine.numbers import PLACES, Number, number
from thinstock.machine.result import Result
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


def numbers_of(result: Result) -> dict[str, Any]:
    """Every number of a run whose working can be shown, by name: headline numbers, stations, consumers, stages."""
    sheet = result.worksheet
    if sheet is None:
        return {}
    found: dict[str, Any] = dict(result.values)
    found["heat_per_point"] = result.heat_per_point
    for station in result.stations:
        for field in PLACES["stations"]:
            found[f"stations.{_slug(station.name)}.{field}"] = getattr(station, field)
    for user in result.energy:
        found[f"energy.{_slug(user.name)}.power"] = user.power
        found[f"energy.{_slug(user.name)}.per_product"] = user.per_mass
    for price in result.water_prices:
        found[f"water.{price.stage}.water_per_fibre"] = price.water_per_fibre
        found[f"water.{price.stage}.share"] = price.share
    return {n: v for n, v in found.items() if isinstance(v, float) and sheet.knows(v)}


MOST = 8
"""Names that hold what was asked for, told at most."""


def names_of(result: Result) -> list[str]:
    """Names of the numbers whose working can be shown."""
    return list(numbers_of(result))


def _slug(name: str) -> str:
    return re.sub(r"[^0-9a-z]+", "_", name.lower()).strip("_")


def about(name: str) -> Number:
    """What is known of a number that can be explained, whatever its value."""
    if "." not in name:
        return number(name)
    kind, which, last = name.split(".")
    place, said = which.replace("_", " "), last.replace("_", " ")
    label = f"{said} at {place}" if kind == "stations" else f"{said} of the {place}"
    known = number(f"{kind}.{which}.per_mass" if last == "per_product" else name)
    return replace(known, name=name, label=label, digits=4)


def asked(result: Result, name: str) -> str:
    """The full name of a number; refused with the names that exist where there is none."""
    if result.worksheet is None:
        raise Refused(fault_in("tell.asked.working_kept_for_one_case", name))
    known = names_of(result)
    tried = re.sub(r"[\s-]+", "_", name.strip())
    if tried in known:
        return tried
    by_label = {about(n).label: n for n in known}
    if name.strip() in by_label:
        return by_label[name.strip()]
    from thinstock.words.address import nearest as near_names

    near = [one for one in known if tried in one][:MOST] or near_names(tried, known)
    first = f"Nearest: {', '.join(near)}. " if near else ""
    held = phrase("tell.asked.this_machine_forms_no_sheet") if _no_sheet(result) else ""
    raise Refused(fault_in("tell.asked.no_number_this_name", name, held=held, first=first))


def _no_sheet(result: Result) -> bool:
    formed = result.values.get("formed")
    return formed is not None and not bool(formed)
