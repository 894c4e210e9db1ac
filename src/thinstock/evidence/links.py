"""What two inputs have in common: groups by name, with the share of variance each takes from them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from thinstock.errors import Refused
from thinstock.words.fault import fault_in

Shares = Mapping[str, float] | Iterable[tuple[str, float]] | str
"""{name: share}, pairs, or "name @ share; name @ share" as in a table of readings."""


def read_shares(given: Shares) -> dict[str, float]:
    """Groups by name; refused where the shares of one input add up to more than all of its variance."""
    if isinstance(given, str):
        pairs = []
        for text in filter(None, (part.strip() for part in given.split(";"))):
            name, mark, number = (part.strip() for part in text.rpartition("@"))
            try:
                pairs.append((name, float(number)))
            except ValueError:
                mark = ""
            if not mark or not name:
                raise Refused(fault_in("evidence.links.group", "group", text))
        found = dict(pairs)
    else:
        found = {str(name): float(share) for name, share in dict(given).items()}
    if sum(abs(share) for share in found.values()) > 1.0 + 1e-12:
        text = "; ".join(f"{name} @ {share:g}" for name, share in found.items())
        raise Refused(fault_in("evidence.links.shares", "group", text))
    return found


def link_correlation(shares: Shares, other: Shares) -> float:
    """Correlation of two inputs by the groups both are in: sum of sign * sign * sqrt(|s s'|) over common names.

    Source: DERIVED. Status: derived.
    """
    one, two = read_shares(shares), read_shares(other)
    return float(
        sum(
            math.copysign(1.0, one[name]) * math.copysign(1.0, two[name]) * math.sqrt(abs(one[name] * two[name]))
            for name in one
            if name in two
        )
    )
