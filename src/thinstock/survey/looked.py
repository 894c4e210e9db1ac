"""A historian's files looked through in one go: signals, steady windows, and rounds where tags say what is what."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from thinstock.machine.line import Machine
from thinstock.survey import clock
from thinstock.survey.historian import GOOD, Series, bundled_or, read_files
from thinstock.survey.machine_network import network_of_machine
from thinstock.survey.round import points_of
from thinstock.survey.signals import Tags, check_units, read_tags, rounds_of
from thinstock.survey.table import Survey
from thinstock.survey.windows import Windows, find_windows, merged
from thinstock.words.phrase import phrase

Tell = Callable[[float, str], None]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What is asked of the files; times and lengths as one writes them, empty for none."""

    zone: str | None = None
    good: tuple[str, ...] = ()
    begin: str = ""
    end: str = ""
    length: str = ""
    most: int = 12


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked:
    """What the files hold."""

    series: Mapping[str, Series]
    windows: Windows
    rounds: tuple[tuple[str, Survey], ...]
    """(Name of a file, round); none without tags."""
    zone: str | None
    told: Callable[[float], str]
    """Writes a time of this zone."""


def tags_of(file: Path, machine: Machine | None) -> Tags:
    """The file of tags, its streams held against those of the machine."""
    streams = None if machine is None else points_of(machine, network_of_machine(machine))
    return read_tags(bundled_or(file, "-tags"), streams)


def signals(files: Sequence[Path], tags: Tags | None, asked: Asked) -> tuple[dict[str, Series], str | None]:
    """(Signals by tag, zone of their times); units held against those of the tags."""
    places = [bundled_or(f) for f in files]
    names = None if tags is None else tags.names
    series = merged(read_files(places, tags=names, zone=asked.zone, good=(*GOOD, *asked.good)))
    if tags is not None:
        check_units(tags, series)
    return series, clock.zone_of(places[0], asked.zone)


def look(
    files: Sequence[Path], tags: Path | None, asked: Asked, *, machine: Machine | None = None, rounds: bool = True,
    tell: Tell | None = None,
) -> Looked:  # fmt: skip
    """Read the files, find steady windows, and make rounds where there are tags.

    Parameters
    ----------
    files, tags : paths, or names of bundled ones.
    asked : Asked
        Zone, span and length of a window.
    machine : Machine, optional
        Whose streams the tags must name.
    rounds : bool
        Whether rounds are made where there are tags.
    tell : callable, optional
        Is told (share done, words).

    Raises
    ------
    Refused
        What cannot be read, or no steady window to make a round of.

    Source: DERIVED. Status: derived.
    """
    say = tell if tell is not None else _silent
    say(0.0, phrase("history.reading"))
    wanted = None if tags is None else tags_of(tags, machine)
    series, zone = signals(files, wanted, asked)
    say(0.7, phrase("history.looking"))
    first = clock.seconds(asked.begin, zone, "--from") if asked.begin else None
    last = clock.seconds(asked.end, zone, "--to") if asked.end else None
    size = clock.length(asked.length, "--find") if asked.length else None
    if size is None and first is not None and last is not None and last > first:
        size = last - first
    found = find_windows(series, length=size, start=first, end=last)
    told = partial(clock.written, zone=zone)
    made: tuple[tuple[str, Survey], ...] = ()
    if wanted is not None and rounds:
        source = ", ".join(bundled_or(f).name for f in files)
        made = tuple(rounds_of(wanted, found, series, most=asked.most, told=told, source=source))
    say(1.0, phrase("history.looking"))
    return Looked(series=series, windows=found, rounds=made, zone=zone, told=told)


def _silent(share: float, said: str) -> None:
    """Nobody listens."""
