"""Times as people write them, and lengths of windows, at the edge: seconds of UTC inside."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from thinstock.survey.faults import refuse
from thinstock.survey.historian_head import read_head, read_stamp
from thinstock.words.phrase import phrase

_LENGTH = re.compile(r"(\d+(?:\.\d+)?) ?(s|min|h|d)", re.ASCII)
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}


def zone_of(path: Path, zone: str | None) -> str | None:
    """The zone of a file's times: as given, or as a CSV file states it above its headings.

    Source: the file.
    """
    with path.open("rb") as stream:
        if zone is not None or stream.read(4) == b"PAR1":
            return zone
    return read_head(path, None).zone


def seconds(text: str, zone: str | None, field: str) -> float:
    """Seconds since 1970 UTC of a written time; without offset it is a time of the zone (of two the first).

    Source: the text.
    """
    told = read_stamp(text, True)
    if told is None or "/" in text[:5]:
        raise refuse(field, text, phrase("survey.historian.no_time"), phrase("survey.historian.write_time"))
    whole, offset = told
    if offset:
        return whole / 1e6
    if zone is None:
        raise refuse(field, text, phrase("history.no_offset"), phrase("history.offset_or_zone"))
    clock = datetime.fromtimestamp(whole / 1e6, UTC).replace(tzinfo=ZoneInfo(zone))
    back = clock.astimezone(UTC).astimezone(ZoneInfo(zone))
    if back.replace(tzinfo=None) != clock.replace(tzinfo=None):
        raise refuse(field, text, phrase("survey.historian.hour_not_there", zone=zone))
    return clock.timestamp()


def written(time: float, zone: str | None) -> str:
    """A time with its offset, to the minute, to the second where it is no whole minute.

    Source: the time.
    """
    clock = datetime.fromtimestamp(round(time), UTC if zone is None else ZoneInfo(zone))
    return clock.isoformat(sep=" ", timespec="seconds" if clock.second else "minutes")


def length(text: str, field: str) -> float:
    """Seconds of a length such as "2 h", "90 min" or "1 d".

    Source: the text.
    """
    found = _LENGTH.fullmatch(text.strip())
    if found is None or float(found[1]) == 0.0:
        raise refuse(field, text, phrase("history.no_length"), phrase("history.write_length"))
    return float(found[1]) * _SECONDS[found[2]]
