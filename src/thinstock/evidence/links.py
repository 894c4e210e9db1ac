"""What two inputs have in common: groups by name, with the share of variance each takes from them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from thinstock.errors import Refused
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in

WEB, FELT = 0.5, 0.25
"""Shares of the variance of a nip's rewet that it has in common with another nip: by the web, by a felt of one kind
(assumed: rewet is felt surface and sheet together; no data found)."""

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


def rewet_addresses(machine: Machine) -> list[str]:
    """Rewets of the nips in the order of the web."""
    return [where for where, _ in machine.addresses() if where.startswith("press.nip.") and where.endswith(".rewet")]


def groups_of(machine: Machine) -> dict[str, dict[str, float]]:
    """Groups of the inputs that have something in common with others, here or on another machine.

    What the machine file states takes the place of what is taken for rewets.
    """
    felt = machine.press.felt
    family = f"felt family {float(felt.felt_grammage):g} {float(felt.solidity):g}"
    found: dict[str, dict[str, float]] = {where: {"web rewet": WEB, family: FELT} for where in rewet_addresses(machine)}
    found |= {where: read_shares(given.group) for where, given in machine.given.items() if given.group}
    return found
