"""Which inputs of a machine are uncertain, by how much, and by whose word; and a result with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from thinstock.evidence.beliefs import belief, standard_uncertainty
from thinstock.evidence.distributions import Distribution, LogUniform, Rectangular, TwoPiece
from thinstock.machine.line import Machine
from thinstock.words.quantity import Q

NOT_VARIED = frozenset({"furnish"})
"""Values bound by a rule among themselves (shares that add up) are not moved one by one."""

FORM = "press.dewatering.equilibrium_share"
"""The share of the equilibrium moisture that holds: known to lie between its ends, and no more."""


@dataclass(frozen=True, kw_only=True)
class UncertainInput:
    """One input and its standard uncertainty (SI)."""

    address: str
    value: float
    standard_uncertainty: float
    status: str
    """Where the uncertainty comes from: the file, or the library with the status of its judgement."""


def between(value: float, ends: tuple[float, float], *, hard: bool, by_factor: bool) -> Distribution:
    """What ends beside a value say: 5 and 95 %, or limits between which every value is as likely."""
    low, high = ends
    if hard:
        return LogUniform(low, high) if by_factor else Rectangular(low, high)
    return TwoPiece(low, value, high, by_factor)


@dataclass(frozen=True, kw_only=True)
class Uncertain:
    """A result with its standard uncertainty and the signed part of each input in it (largest first)."""

    name: str
    value: float
    standard_uncertainty: float
    contributions: tuple[tuple[str, float], ...]
    """(address, change of the result when the input moves up by one standard uncertainty)."""
    low: float = math.nan
    median: float = math.nan
    high: float = math.nan
    """Middle of the draws and the ends of their central 90 %; nan where there are only slopes."""
    position: float = math.nan
    """Share of the draws below the value."""
    origin: str = ""
    """Of the population the draws are from; empty where there are only slopes."""

    def largest(self, count: int = 3) -> tuple[tuple[str, float], ...]:
        """The inputs that matter most."""
        return self.contributions[:count]


def uncertain_inputs(machine: Machine) -> tuple[UncertainInput, ...]:
    """All inputs with an uncertainty: from the file where it states one, else by library judgement."""
    found = []
    for address, value in machine.addresses():
        if value is None or isinstance(value, str | bool) or not NOT_VARIED.isdisjoint(address.split(".")):
            continue
        about = machine.declaration(address).about
        if not isinstance(about, Q) or np.ndim(value) or about.limit or about.integer:
            continue
        given = machine.given.get(address)
        number = float(value)
        if given is not None and given.uncertainty is not None:
            spread, status = given.uncertainty, "the file"
        elif given is not None and given.ends is not None:
            law = between(number, given.ends, hard=given.hard, by_factor=False)
            spread, status = law.standard_deviation, "the file"
        elif address == FORM and machine.press.dewatering.specific_permeability is not None:
            continue  # its permeability was given with its form
        elif (row := belief(about)) is not None:
            spread, status = standard_uncertainty(row, number), f"library, {row.status}"
        else:
            continue
        if spread > 0:
            found.append(UncertainInput(address=address, value=number, standard_uncertainty=spread, status=status))
    return tuple(found)
