"""What may happen to a running machine: an event, when it comes and how long it lasts, read from how people say it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from thinstock.errors import Refused
from thinstock.words import units
from thinstock.words.fault import fault_in

if TYPE_CHECKING:
    from thinstock.machine.line import Machine

KINDS = ("change", "thick", "break", "start-up", "fresh")
"""A value changed; more or less thick stock at the same fan flow; a sheet break; start-up; no fresh water."""
PLACES = ("press", "doctor")
RAMP = 10.0
"""Longest step of a ramp, s."""
_TEXT = re.compile(
    r"^\s*(?P<what>[^=@]+?)\s*(?:=\s*(?P<value>.*?))?\s*(?:\bover\s+(?P<over>[\d.]+)\s*(?P<over_unit>min|s)\b)?"
    r"\s*(?:\bfor\s+(?P<lasts>[\d.]+)\s*(?P<lasts_unit>min|s)\b)?\s*(?:@\s*(?P<at>[\d.]+)\s*(?P<at_unit>min|s)?)?\s*$"
)


@dataclass(frozen=True, kw_only=True)
class Event:
    """One thing that happens."""

    kind: str
    at: float = 0.0
    """Time, s."""
    changes: Mapping[str, float] = field(default_factory=dict)
    """Values by address, base SI; of "change" alone."""
    amount: float = 0.0
    """Of "thick": change of the thick stock's flow, as a share."""
    place: str = "doctor"
    """Of "break": where the sheet falls into the pulper."""
    lasts: float = 600.0
    """Of "break" and "fresh": until it is over, s."""
    over: float = 0.0
    """Of "change": a ramp so long, s; 0 at once."""
    text: str = ""
    """As it was said."""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise Refused(fault_in("watch.kind", "event", repr(self.kind), kinds=", ".join(KINDS)))
        if self.place not in PLACES:
            raise Refused(fault_in("watch.place", "event", repr(self.place), places=", ".join(PLACES)))
        if not (self.at >= 0 and self.lasts > 0 and self.over >= 0):
            raise Refused(fault_in("watch.time", "event", self.text or self.kind))


def event_of(machine: Machine, text: str) -> Event:
    """An event from its text.

    "thick=+5 %", "break=press for 10 min @ 5", "start-up", "fresh=off for 20 min", or any value of the machine:
    "headbox.consistency=0.2 %", "yankee.speed=1850 m/min over 2 min @ 5 min". `@` says when, in minutes.
    """
    found = _TEXT.match(text)
    if found is None:
        raise Refused(fault_in("watch.text", "--change", repr(text)))
    what, value = found["what"].strip(), (found["value"] or "").strip()
    at, lasts, over = (_seconds(found[name], found[f"{name}_unit"]) for name in ("at", "lasts", "over"))
    times = {"at": at or 0.0, "text": text.strip()} | ({"lasts": lasts} if lasts else {})
    if what == "thick":
        return Event(kind="thick", amount=_share(value, text), **times)  # type: ignore[arg-type]
    if what == "break":
        return Event(kind="break", place=value or "doctor", **times)  # type: ignore[arg-type]
    if what in ("start-up", "fresh"):
        return Event(kind=what, **times)  # type: ignore[arg-type]
    if not value:
        raise Refused(fault_in("watch.text", "--change", repr(text)))
    after = machine.with_({what: value})
    from thinstock.words import address

    where = address.resolve(machine, what)
    return Event(kind="change", changes={where: after.get(where)}, over=over or 0.0, **times)  # type: ignore[arg-type]


def looks_like_event(text: str) -> bool:
    """Whether a text can be read as an event; its values are read with the machine."""
    found = _TEXT.match(text)
    if found is None or not found["what"].strip():
        return False
    what, value = found["what"].strip(), (found["value"] or "").strip()
    return what in ("start-up", "fresh") or (value in PLACES if what == "break" else bool(value))


def _seconds(number: str | None, unit: str | None) -> float | None:
    return None if number is None else float(number) * (1.0 if unit == "s" else 60.0)


def _share(value: str, text: str) -> float:
    try:
        return float(units.parse(value.lstrip("+"), "fraction", field="thick"))
    except units.UnitError:
        raise Refused(fault_in("watch.share", "--change", repr(text))) from None


def in_order(events: Iterable[Event]) -> list[Event]:
    """Events by their time; a ramp as many small steps."""
    found: list[Event] = []
    for event in events:
        found += _ramp(event) if event.over > 0 else [event]
    return sorted(found, key=lambda one: one.at)


def _ramp(event: Event) -> list[Event]:
    from dataclasses import replace

    count = max(2, round(event.over / RAMP + 0.5))
    return [
        replace(event, over=0.0, at=event.at + event.over * k / count, amount=k / count) for k in range(1, count + 1)
    ]
