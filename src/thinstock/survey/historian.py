"""Signals over time from a mill's historian: long or wide, CSV or Parquet, into one series a tag.

Times come out in seconds of UTC, values as they are given with the unit the file states. What is dropped is counted by
cause; what could be read in two ways is refused, with the line.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import needs
from thinstock.files.read import foreign
from thinstock.formula.label import Array
from thinstock.survey.faults import SurveyError, nearest, refuse
from thinstock.survey.historian_csv import Block, Coded, Floats, Reader, Whole
from thinstock.survey.historian_head import Faults, Layout, read_head
from thinstock.words.phrase import phrase

GOOD = ("", "good", "192", "ok", "g")
MOST_TAGS, MOST_VALUES = 20_000, 200_000_000
"""Tags of a file, and values that are taken from it: a year of seconds of six tags."""
CAUSES = ("quality", "no number", "repeated")
"""Why a row is dropped: its quality is not good, no number stands there, or a later row has the same time."""


@dataclass(frozen=True, eq=False)
class Series:
    """One signal over time."""

    time: Array
    """Seconds since 1970 in UTC, rising."""
    value: Array
    """In the unit of the file."""
    unit: str
    """As the file states it; empty where it states none."""
    dropped: Mapping[str, int]
    """Rows left out, by cause."""


def read_series(
    path: str | os.PathLike[str],
    *,
    tags: Iterable[str] | None = None,
    zone: str | None = None,
    good: Iterable[str] = GOOD,
) -> dict[str, Series]:
    """Signals over time from a CSV or Parquet file of a historian, by tag.

    Parameters
    ----------
    path : str or path
        A long file (columns `time, tag, value`, and `unit`, `quality` where there are any) or a wide one (`time` and a
        column for each tag, with `TAG quality` beside it where it has one). The second row may state units; lines
        `# zone: Europe/Berlin` may stand above the headings. CSV is UTF-8 with `;`, tab or `,` between columns.
    tags : iterable of str, optional
        The tags to read; all of them without it.
    zone : str, optional
        Time zone of stamps that state no offset, such as "Europe/Berlin". It is never guessed.
    good : iterable of str
        Qualities that are good, whatever their case; every other row is dropped.

    Returns
    -------
    dict of str to Series
        Times in seconds since 1970 UTC, values in the unit of the file, and what was dropped, counted by cause:
        "quality", "no number" (empty, or a word) and "repeated" (of rows with one time the last is kept).

    Raises
    ------
    Refused
        Everything wrong with the file at once, with line and column (`SurveyError`); also a missing package (extra
        `tables`).

    Source: the file.
    """
    wanted = None if tags is None else tuple(dict.fromkeys(tags))
    gathered = _gathered(Path(path), wanted, zone, good)
    gathered.refuse_unknown(gathered.seen)
    return gathered.series()


def read_files(
    paths: Iterable[str | os.PathLike[str]],
    *,
    tags: Iterable[str] | None = None,
    zone: str | None = None,
    good: Iterable[str] = GOOD,
) -> list[dict[str, Series]]:
    """`read_series` of several files of which each may hold some of the tags; a tag that none holds is refused.

    Source: the files.
    """
    wanted = None if tags is None else tuple(dict.fromkeys(tags))
    seen: dict[str, None] = {}
    found = []
    for path in paths:
        gathered = _gathered(Path(path), wanted, zone, good)
        seen.update(gathered.seen)
        found.append(gathered.series())
    gathered.refuse_unknown(seen)
    return found


def _gathered(place: Path, wanted: tuple[str, ...] | None, zone: str | None, good: Iterable[str]) -> Gathered:
    if not place.is_file():
        raise refuse(place.name, bound=phrase("survey.cells.no_file"))
    with foreign(place.name, SurveyError):
        return _read(place, wanted, zone, good)


def _read(place: Path, wanted: tuple[str, ...] | None, zone: str | None, good: Iterable[str]) -> Gathered:
    faults = Faults(place.name)
    with place.open("rb") as stream:
        parquet = stream.read(4) == b"PAR1"
    if parquet:
        from thinstock.survey.historian_parquet import parquet_file

        layout, blocks, local, unit = parquet_file(place, faults, zone)
    else:
        head = read_head(place, zone)
        layout, local, unit, zone = head.layout, not head.stamps.offset, head.unit, head.zone
        blocks = Reader(place, head, faults).blocks()
    _check_zone(zone if local else None, faults)
    gathered = Gathered(layout, faults, wanted, frozenset(g.strip().lower() for g in good), unit)
    for block in blocks:
        gathered.take(block, zone if local else None)
    faults.end()
    return gathered


def bundled_or(name: str | os.PathLike[str], end: str = "") -> Path:
    """The file of a name: a path, or where there is none the bundled invented signals of that name.

    Source: the file.
    """
    place = Path(name)
    known = Path(str(files("thinstock").joinpath("library", "histories", f"{name}{end}.csv")))
    return known if not place.exists() and str(name) == place.name and known.is_file() else place


@dataclass(eq=False)
class _Pieces:
    """What was read of one tag so far."""

    early: list[Whole] = field(default_factory=list)
    """Times in UTC; of an hour that comes twice its first."""
    late: list[Whole] = field(default_factory=list)
    """The same with the second."""
    value: list[Floats] = field(default_factory=list)
    dropped: Counter[str] = field(default_factory=Counter)
    unit: str = ""
    twice: bool = False


class Gathered:
    """Pieces of every tag, block by block."""

    def __init__(
        self, layout: Layout, faults: Faults, wanted: tuple[str, ...] | None, good: frozenset[str], unit: str
    ) -> None:
        self.layout, self.faults, self.wanted, self.good, self.unit = layout, faults, wanted, good, unit
        self.found: dict[str, _Pieces] = {}
        self.seen: dict[str, None] = {}
        self.values = 0
        for signal in layout.signals:
            self._see(signal.tag)
            if wanted is None or signal.tag in wanted:
                self.found[signal.tag] = _Pieces(unit=signal.unit)

    def take(self, block: Block, zone: str | None) -> None:
        """Add the rows of a block."""
        kept = len(self.found) if self.layout.tag is None else 1
        self.values += block.time.size * max(kept, 1)
        if self.values > MOST_VALUES:
            said = phrase("survey.historian.most_values", most=MOST_VALUES)
            raise refuse(self.faults.file, bound=said, remedy=phrase("survey.historian.fewer"))
        early, late = block.time, None
        if zone is not None:
            early, late = self._in_utc(block, zone)
        if self.layout.tag is None:
            for signal in self.layout.signals:
                if signal.tag in self.found:
                    ok = None if signal.quality is None else self._good(block.words[signal.quality])
                    self._add(self.found[signal.tag], early, late, block.numbers[signal.value], ok)
            return
        assert self.layout.value is not None
        self._long(block, early, late)

    def _long(self, block: Block, early: Whole, late: Whole | None) -> None:
        tag = block.words[self.layout.tag or 0]
        value = block.numbers[self.layout.value or 0]
        ok = None if self.layout.quality is None else self._good(block.words[self.layout.quality])
        names = [w.strip() for w in tag.words]
        self._see(*(n for n in names if n))
        if "" in names:
            for code in [i for i, n in enumerate(names) if not n]:
                for row in np.flatnonzero(tag.code == code)[:30]:
                    bound, remedy = phrase("survey.historian.no_tag"), phrase("survey.historian.name_tag")
                    self.faults.add(block.line(int(row)), "tag", "", bound, remedy)
        small = tag.code.astype(np.int16) if len(names) < 32_000 else tag.code
        order = np.argsort(small, kind="stable")
        ends = np.cumsum(np.bincount(tag.code, minlength=len(names)))
        if self.layout.unit is not None:
            self._units(block, tag, block.words[self.layout.unit], names)
        for code, name in enumerate(names):
            rows = order[ends[code - 1] if code else 0 : ends[code]]
            if not rows.size or not name or (self.wanted is not None and name not in self.wanted):
                continue
            pieces = self.found.setdefault(name, _Pieces(unit=self.unit))
            self._add(
                pieces, early[rows], None if late is None else late[rows], value[rows], None if ok is None else ok[rows]
            )

    def _see(self, *tags: str) -> None:
        self.seen.update(dict.fromkeys(tags))
        if len(self.seen) > MOST_TAGS:
            said = phrase("survey.historian.most_tags", most=MOST_TAGS)
            raise refuse(self.faults.file, bound=said, remedy=phrase("survey.historian.fewer"))

    def _units(self, block: Block, tag: Coded, unit: Coded, names: list[str]) -> None:
        """One unit for each tag; a second one is a fault."""
        width = len(unit.words)
        pairs = np.flatnonzero(np.bincount(tag.code.astype(np.int64) * width + unit.code, minlength=1))
        for pair in pairs:
            name, said = names[int(pair) // width], unit.words[int(pair) % width].strip()
            if not said or not name or (self.wanted is not None and name not in self.wanted):
                continue
            pieces = self.found.setdefault(name, _Pieces(unit=self.unit))
            if pieces.unit and pieces.unit != said:
                row = int(np.flatnonzero((tag.code == int(pair) // width) & (unit.code == int(pair) % width))[0])
                bound = phrase("survey.historian.other_unit", tag=name, unit=pieces.unit)
                self.faults.add(block.line(row), "unit", said, bound, phrase("survey.historian.one_unit"))
            pieces.unit = pieces.unit or said

    def _good(self, quality: Coded) -> NDArray[np.bool_]:
        fine = np.array([w.strip().lower() in self.good for w in quality.words] or [True])
        return np.asarray(fine[quality.code])

    def _add(
        self, pieces: _Pieces, early: Whole, late: Whole | None, value: Floats, ok: NDArray[np.bool_] | None
    ) -> None:
        keep = np.isfinite(value)
        if ok is not None:
            bad = int(ok.size - np.count_nonzero(ok))
            pieces.dropped["quality"] += bad
            if bad:
                pieces.dropped["no number"] += int(np.count_nonzero(ok & ~keep))
                keep &= ok
            else:
                pieces.dropped["no number"] += int(keep.size - np.count_nonzero(keep))
        else:
            pieces.dropped["no number"] += int(keep.size - np.count_nonzero(keep))
        every = bool(keep.all())
        pieces.early.append(early if every else early[keep])
        pieces.late.append(pieces.early[-1] if late is None else (late if every else late[keep]))
        pieces.twice |= late is not None
        pieces.value.append(value if every else value[keep])

    def _in_utc(self, block: Block, zone: str) -> tuple[Whole, Whole | None]:
        """Times in UTC, of an hour that comes twice its first and its second; an hour that is not is a fault."""
        pa, compute = needs("pyarrow", "tables"), needs("pyarrow.compute", "tables")
        local = pa.array(block.time).cast(pa.timestamp("us"))

        def utc(ambiguous: str, nonexistent: str) -> Whole:
            at = compute.assume_timezone(local, zone, ambiguous=ambiguous, nonexistent=nonexistent)
            return np.asarray(at.cast(pa.int64()).to_numpy(), dtype=np.int64)

        try:
            early = utc("earliest", "raise")
        except pa.ArrowInvalid:
            at = compute.assume_timezone(local, zone, ambiguous="earliest", nonexistent="earliest")
            back = compute.local_timestamp(at).cast(pa.int64()).to_numpy()
            for row in np.flatnonzero(back != block.time)[:30]:
                bound = phrase("survey.historian.hour_not_there", zone=zone)
                shown = str(np.datetime64(int(block.time[row]), "us")).replace("T", " ").removesuffix(".000000")
                self.faults.add(block.line(int(row)), "time", shown, bound, phrase("survey.historian.other_zone"))
            return block.time, None
        late = utc("latest", "raise")
        return early, None if np.array_equal(early, late) else late

    def refuse_unknown(self, seen: Mapping[str, None]) -> None:
        """Refuse tags that are asked for and are in no file."""
        for name in self.wanted or ():
            if name not in seen:
                self.faults.add(None, "tags", name, phrase("survey.historian.no_such_tag"), nearest(name, seen))
        self.faults.end()

    def series(self) -> dict[str, Series]:
        """Every tag in order of time, of repeated stamps the last."""
        names = list(self.found) if self.wanted is None else [n for n in self.wanted if n in self.found]
        return {name: _finished(self.found.pop(name)) for name in names}


def _finished(pieces: _Pieces) -> Series:
    early = np.concatenate(pieces.early) if pieces.early else np.zeros(0, dtype=np.int64)
    if pieces.twice:
        early = _by_order(early, np.concatenate(pieces.late))
    value = np.concatenate(pieces.value) if pieces.value else np.zeros(0)
    pieces.early.clear()
    pieces.late.clear()
    pieces.value.clear()
    step = np.diff(early)
    if np.any(step < 0):
        order = np.argsort(early, kind="stable")
        early, value = early[order], value[order]
        step = np.diff(early)
    if np.any(step == 0):
        last = np.concatenate([step != 0, [True]])
        pieces.dropped["repeated"] = int(early.size - np.count_nonzero(last))
        early, value = early[last], value[last]
    dropped = {cause: pieces.dropped[cause] for cause in CAUSES if pieces.dropped[cause]}
    return Series(early / 1e6, value, pieces.unit, dropped)


def _by_order(early: Whole, late: Whole) -> Whole:
    """Times of hours that come twice: the second time begins where the clock goes back, or stands again."""
    twice = np.flatnonzero(late != early)
    if not twice.size:
        return early
    out = early.copy()
    falling = early.size > 1 and early[0] > early[-1]
    for run in np.split(twice, np.flatnonzero(np.diff(twice) > 1) + 1):
        rows = run[::-1] if falling else run
        step = np.diff(early[rows])
        back = np.flatnonzero(step < 0)
        again = back if back.size else (np.flatnonzero(step == 0) if np.unique(early[rows]).size == 1 else back)
        if again.size:
            second = rows[int(again[0]) + 1 :]
            out[second] = late[second]
    return out


def _check_zone(zone: str | None, faults: Faults) -> None:
    if zone is None:
        return
    from zoneinfo import ZoneInfo, available_timezones

    try:
        ZoneInfo(zone)
    except (ValueError, OSError, KeyError):
        faults.add(None, "zone", zone, phrase("survey.historian.unknown_zone"), nearest(zone, available_timezones()))
        faults.end()
