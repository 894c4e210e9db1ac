"""A result in a console, a notebook or a data frame: its headline numbers, and everything it holds as plain data."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from html import escape
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.machine.numbers import headline
from thinstock.words import units
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.result import Result

TABLES = ("stations", "streams", "energy", "water_prices", "notes")


def rows(result: Result) -> Iterator[tuple[str, str]]:
    """The headline numbers that exist, with their unit; of many cases their range."""
    for name, about in headline().items():
        value = result.values.get(name)
        if value is None:
            continue
        array = np.asarray(value, dtype=float)
        finite = array[np.isfinite(array)]
        if not finite.size:
            continue
        ends = [units.write_word(about.word, float(end), digits=about.digits) for end in (finite.min(), finite.max())]
        yield about.label, ends[0] if ends[0] == ends[1] else " to ".join(ends)


def text(result: Result) -> str:
    """A few lines for a console."""
    found = list(rows(result))
    wide = max((len(label) for label, _ in found), default=0)
    return "\n".join([_title(result), *(f"  {label:<{wide}}  {value}" for label, value in found)])


def html(result: Result) -> str:
    """A small table for a notebook."""
    body = "".join(f"<tr><td>{escape(label)}</td><td>{escape(value)}</td></tr>" for label, value in rows(result))
    return f"<table><caption>{escape(_title(result))}</caption><tbody>{body}</tbody></table>"


def _title(result: Result) -> str:
    name = result.machine.title or "machine"
    if result.single:
        return name
    return f"{name}, {np.size(result.values['formed'])} cases"


def plain(value: Any) -> Any:
    """Numbers and arrays as Python's own; what is not finite as None."""
    if value is None or isinstance(value, str | bool | int):
        return value
    array = np.asarray(value)
    if array.ndim:
        return [plain(one) for one in array.tolist()]
    one = array.item()
    return None if isinstance(one, float) and not np.isfinite(one) else one


def as_dict(result: Result) -> dict[str, Any]:
    """Values, stations, streams, users of energy, prices of water and notes, base SI."""
    found: dict[str, Any] = {"title": result.machine.title, "values": {n: plain(v) for n, v in result.values.items()}}
    for table in TABLES:
        found[table] = [_row(one) for one in getattr(result, table)]
    found["closure"] = result.closure()
    return found


def _row(one: Any) -> dict[str, Any]:
    row = {f.name: plain(getattr(one, f.name)) for f in dataclasses.fields(one)}
    return {"name": one.name, **row} if hasattr(one, "name") else row


def as_pandas(result: Result) -> Any:
    """A data frame of the values: one row a case, base SI."""
    try:
        pandas = import_module("pandas")
    except ImportError as error:
        raise ImportError(phrase("machine.shown.to_pandas_needs_pandas_which")) from error
    count = 1 if result.single else np.size(result.values["formed"])
    columns = {n: np.broadcast_to(np.nan if v is None else v, (count,)) for n, v in result.values.items()}
    return pandas.DataFrame(columns)
