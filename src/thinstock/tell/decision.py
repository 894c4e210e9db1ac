"""A rebuild as a decision, told once: gain and money by how alike the presses are, curve, guarantee, doubts.

Told of a rebuild as plain data, so that a page can set what was kept. `sheet` is the whole decision on one page.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from thinstock.tell.blocks import Table, lined
from thinstock.tell.record import number
from thinstock.words.figures import figure, grouped
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    pass

Plain = Mapping[str, Any]
MOVERS = 6
STEP = 2
"""The curve is told at every second of its gains."""


class Decided:
    """The decision of a rebuild, ready to be set."""

    def __init__(self, found: Plain, money: str) -> None:
        self.found, self.money = found, money
        self.decision: Plain = found["decision"]

    def guarantee(self) -> str:
        """What to have guaranteed."""
        cases, years = self._cases(), f"{number(self.decision['years']):g}"
        parts = []
        for key, name in (("guarantee", "in_time"), ("guarantee_worth", "worth")):
            points_ = number(self.decision[key])
            said = figure(points_, 2) if math.isfinite(points_) else ""
            parts.append(phrase(f"rebuild.decision.{name}" if said else f"rebuild.decision.{name}_never",
                                cases=cases, years=years, points=said or self._most()))  # fmt: skip
        return " ".join(parts)

    def _most(self) -> str:
        return figure(number(self.decision["curve"][-1]["gain"]), 2)

    def _cases(self) -> str:
        return f"{10.0 * number(self.decision['cases']):g}"

    def knowing(self) -> str:
        """What knowing is worth before deciding."""
        named = {key: self._money(number(self.decision[key])) for key in ("knowing", "knowing_gain", "trial")}
        per_point = self._money(number(self.decision["per_point"]))
        return phrase("rebuild.decision.knowing", money=self.money, per_point=per_point, **named)

    def tables(self) -> list[Table]:
        """Links, curve, and what moves the present value."""
        return [self.links(), self.curve(), self.movers()]

    def links(self) -> Table:
        """Gain and money by how much the rewets of both presses have in common."""
        rows = []
        for one in self.found["links"]:
            rows.append(
                (f"{number(one['correlation']):g}", self._range(one["gain"], 2), self._share(one["wetter"]),
                 self._range(one["saving"], 3), self._range(one["net_present_value"], 3),
                 self._range(one["payback"], 2), self._share(one["pays"]),
                 self._money(number(one["knowing_gain"])), self._money(number(one["trial"])))
            )  # fmt: skip
        units = {"link": "", "gain": phrase("rebuild.decision.points"), "wetter": "%", "saving": self.money,
                 "worth_head": self.money, "payback": phrase("rebuild.decision.years"), "pays": "%", "know": self.money,
                 "trial_head": self.money}  # fmt: skip
        return self._lined("links", units, rows)

    def curve(self) -> Table:
        """Payback and present value against the points gained."""
        rows = []
        for one in self.decision["curve"][::STEP]:
            rows.append(
                (figure(number(one["gain"]), 2), self._range(one["payback"], 2),
                 self._range(one["net_present_value"], 3), self._share(one["in_time"]), self._share(one["pays"]))
            )  # fmt: skip
        units = {"gain": phrase("rebuild.decision.points"), "payback": phrase("rebuild.decision.years"),
                 "worth_head": self.money, "in_five": "%", "pays": "%"}  # fmt: skip
        return self._lined("curve", units, rows)

    def movers(self) -> Table:
        """The present value with one thing at its ends, and what is tied to it moved along."""
        rows = [
            (said(one["name"]), self._money(number(one["low"])), self._money(number(one["high"])),
             self._money(number(one["knowing"])))
            for one in self.decision["movers"][:MOVERS]
        ]  # fmt: skip
        units = {"thing": "", "at_5": self.money, "at_95": self.money, "know": self.money}
        return self._lined("movers", units, rows, words=1)

    def _lined(self, key: str, units: Mapping[str, str], rows: Sequence[tuple[str, ...]], words: int = 0) -> Table:
        heads = [(phrase(f"rebuild.decision.{name}"), unit) for name, unit in units.items()]
        caption = phrase(f"rebuild.decision.{key}")
        return lined(key=key, heads=heads, rows=tuple(rows), words=words, caption=caption)

    def _range(self, one: Plain, digits: int) -> str:
        middle, low, high = (number(one[end]) for end in ("median", "low", "high"))
        told = [phrase("rebuild.decision.never") if math.isinf(v) else grouped(v, digits) for v in (middle, low, high)]
        return phrase("rebuild.decision.range", middle=told[0], low=told[1], high=told[2])

    def _share(self, share: Any) -> str:
        return f"{100 * number(share):.0f}"

    def _money(self, amount: float) -> str:
        return grouped(amount, 2)


def said(name: str) -> str:
    """The name of a thing that moves the worth, short."""
    if name.startswith("response."):
        constant, _, setting = name.removeprefix("response.").partition("@")
        parts = (constant.rpartition(".")[2], setting.rpartition(".")[2])
        return phrase("rebuild.decision.response", constant=parts[0], setting=parts[1]).replace("_", " ")
    return ", ".join(reversed(name.split(".")[-2:])).replace("_", " ")
