"""The ladder of formers for one sheet, told once: what each can run, what gave out, all about one of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from thinstock import library
from thinstock.tell.blocks import Block, Column, Group, Paragraph, Table, words
from thinstock.words.figures import NONE, Edge, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.ladder import Answer, Ladder, Lowest, Rung, State
    from thinstock.studies.rungs import OwnTime

SAID = ("demand", "finding", "bought", "four", "centrifugal", "power", "felt", "second_bend", "side_branch")
"""What the ladder says beside its numbers, in order."""


def told(found: Ladder, subject: str, edge: Edge, *, all_words: bool) -> list[Block]:
    """The ladder; with what gave out and what the numbers do not explain where that is wanted."""
    from thinstock.studies.ladder import words as sayings

    said = sayings()
    shown = _Shown(found, edge)
    blocks: list[Block] = [words(shown.head()), shown.rows(), shown.reasons(), shown.common()]
    if all_words or len(found.rungs) <= 2:
        blocks += [*shown.lowest(), shown.speeds()]
    if len(found.rungs) <= 2:
        blocks.append(shown.detail(found.rungs[-1]))
    below = [words(said["ends"], said["ratios"])]
    if all_words or len(found.rungs) <= 2:
        below = [words(shown.legend()), *shown.deeper(), *below, words(said["uncalibrated"])]
    if not all_words:
        below.append(words(phrase("formers.more")))
    blocks.append(Group(blocks=tuple(below)))
    if all_words:
        blocks.append(Group(title=phrase("formers.said"), blocks=(words(said[SAID[0]]),)))
        blocks += [words(said[name]) for name in SAID[1:]]
        gone = [
            words(phrase("formers.gave_out", name=r.name, changed=r.changed, gave_out=r.gave_out, belief=r.belief))
            for r in found.rungs
            if r.gave_out
        ]
        blocks += [Group(blocks=tuple(gone))] if gone else []
    if subject in library.grade_names():
        from thinstock.studies.grades import what_it_means

        blocks.append(words(phrase("formers.quoted", sentence=what_it_means(subject).sentence())))
    return blocks


def own_time(found: Ladder, edge: Edge) -> Table:
    """One row a former in its own time, for paper and page."""
    made = _Shown(found, edge).rows()
    return replace(made, caption=made.title, title="", small=True, indented=False)


class _Shown:
    """A ladder and the units it is told in."""

    def __init__(self, found: Ladder, edge: Edge) -> None:
        self.found, self.edge = found, edge
        self.near = min(found.speeds, key=lambda v: abs(v - found.speed))
        """Speed shown that is nearest to the machine's own."""
        self.shared = max(found.speeds, key=lambda v: (sum(r.at(v).practice == "inside" for r in found.rungs), v))
        """Speed shown at which practice runs most of them."""

    def head(self) -> str:
        """The sheet they are all asked to form."""
        found = self.found
        said = phrase("formers.head", title=found.title, grammage=self.edge.text("grammage", found.grammage, 3),
                      retention=self.edge.text("retention", found.retention, 2))  # fmt: skip
        own = next((rung.name for rung in found.rungs if rung.branch == "own"), None)
        return phrase("formers.head_own", head=said, own=own) if own else said

    def rows(self) -> Table:
        """One row a former: down to where it drains in its own time, what disturbs it first, practice, transfers."""
        thin, fast = self.edge.unit("consistency"), self.edge.unit("speed")
        heads = (("drains", thin), ("packed", thin), ("first", fast), ("practice", fast), ("transfers", ""))
        columns = [Column(sort="word"), *(Column(head=phrase(f"formers.{head}"), unit=unit, sort="word")
                                          for head, unit in heads)]  # fmt: skip
        return Table(columns=tuple(columns), rows=tuple(map(self._row, self.found.rungs)),
                     title=phrase("formers.own_time"), heads_low=True)  # fmt: skip

    def _row(self, rung: Rung) -> tuple[str, ...]:
        answer = rung.at(self.found.speed) if rung.own_time is None else rung.own_time.usual
        said = rung.reasons if rung.own_time is None else rung.own_time.reasons
        first = NONE if said.first is None else self._speed(said.first.speed_at_yardstick)
        window = NONE
        if rung.speeds.window_high is not None:
            low = self.edge.figure("speed", rung.window.speed_low, 2)
            window = phrase("formers.window", low=low, high=self._speed(rung.speeds.window_high))
        return (_name(rung), self._band(answer.lowest, answer.lowest_slow, supplied=False),
                self._one(answer.lowest_packed), first, window, str(rung.transfers))  # fmt: skip

    def reasons(self) -> Group:
        """What comes first on each as it runs faster, in a sentence of the trade."""
        return Group(title=phrase("formers.why"), blocks=tuple(
            Paragraph(text=why(rung, self.edge), lead="  ", hang=4) for rung in self.found.rungs
        ))  # fmt: skip

    def common(self) -> Table:
        """All at one speed: both ends of the mat, what the machine supplies, and ratios to the first of the history."""
        found, v, unit = self.found, self.shared, self.edge.unit("consistency")
        heads = [("drains", unit), ("packed", unit), *([("supplied", unit)] if found.supplied else []), ("ratio", "")]
        columns = [Column(sort="word"), *(Column(head=phrase(f"formers.{head}"), unit=of, sort="word")
                                          for head, of in heads)]  # fmt: skip
        rows = []
        for rung in found.rungs:
            answer = rung.at(v)
            cells = [self._band(answer.lowest, answer.lowest_slow, supplied=False), self._one(answer.lowest_packed)]
            if found.supplied:
                cells.append(self._band(answer.lowest, answer.lowest_slow, supplied=True))
            if not answer.jet_enters:
                cells = [phrase("formers.no_entry")] * len(cells)
            ratios = (NONE if r is None else f"{r:.2f}" for r in found.ratios(rung, v))
            rows.append((_name(rung), *cells, phrase("formers.ratios", ratios=" | ".join(ratios))))
        title = phrase("formers.common", speed=self.edge.text("speed", v, 3), first=found.first.name)
        foot = self._stops([found.speeds.index(v)]) if found.supplied else phrase("formers.alone")
        return Table(columns=tuple(columns), rows=tuple(rows), title=title, foot=foot, heads_low=True)

    def _one(self, lowest: Lowest) -> str:
        """Lowest consistency by drainage."""
        if lowest.drainage is None:
            return phrase("formers.cannot")
        shown = self.edge.figure("consistency", lowest.drainage, 2)
        return f"<{shown}" if lowest.below else shown

    def lowest(self) -> list[Block]:
        """Lowest consistencies: supplied and drained, then by drainage alone."""
        first = Group(blocks=(self._lowest("formers.lowest", supplied=True), *self._supply()))
        return [first, self._lowest("formers.drainage_alone", supplied=False)]

    def _lowest(self, title: str, *, supplied: bool) -> Table:
        """One row per former, one column per speed; in brackets where practice does not run it."""
        heads = [self.edge.unit("consistency"), *(self.edge.text("speed", v, 3) for v in self.found.speeds)]
        columns = [Column(head=head, sort="word") for head in heads]
        columns += [] if supplied else [Column(head=phrase("formers.transfers"))]
        rows = []
        for rung in self.found.rungs:
            cells = []
            for answer in rung.answers:
                cell = phrase("formers.no_entry")
                if answer.jet_enters:
                    cell = self._band(answer.lowest, answer.lowest_slow, supplied=supplied)
                cells.append(cell if answer.practice == "inside" else f"({cell})")
            rows.append((_name(rung), *cells, *([] if supplied else [str(rung.transfers)])))
        return Table(columns=tuple(columns), rows=tuple(rows), title=phrase(title))

    def _band(self, low: Lowest, high: Lowest, *, supplied: bool) -> str:
        """Lowest consistency, mat as in the tester to most resisting; a star where the supply stops it."""

        def one(lowest: Lowest) -> str:
            if not supplied:
                return self._one(lowest)
            if lowest.consistency is None:
                return phrase("formers.cannot")
            shown = self.edge.figure("consistency", lowest.consistency, 2)
            return f"{shown}*" if lowest.first != "drainage" else shown

        return _pair(one(low), one(high))

    def _supply(self) -> list[Paragraph]:
        """Where pumps, headbox and slice stop, whatever the former."""
        said = [self._stops(range(len(self.found.speeds)))] if self.found.supply else []
        said += [phrase("formers.unknown", list=", ".join(self.found.unknown))] if self.found.unknown else []
        return [Paragraph(text=text, lead="  ") for text in said]

    def _stops(self, which: Iterable[int]) -> str:
        """Where they stop at some of the speeds."""
        stops = []
        for k in which:
            speed, (part, least) = self.edge.text("speed", self.found.speeds[k], 3), self.found.supply[k]
            if least is None:
                stops.append(phrase("formers.stop_nothing", speed=speed, part=part))
            else:
                low = self.edge.text("consistency", least, 2)
                stops.append(phrase("formers.stop", speed=speed, consistency=low, part=part))
        return phrase("formers.stops", list="; ".join(stops))

    # -- speeds ------------------------------------------------------------------------------------------------------

    def speeds(self) -> Table:
        """Highest speeds: by drainage as a band, by practice, and what gives out first."""
        unit = self.edge.unit("speed")
        heads = (("drainage", unit), ("practice", unit), ("ends_at", "% ²"), ("gives_out", unit))
        columns = [Column(sort="word"), *(Column(head=phrase(f"formers.{head}"), unit=of, sort="word")
                                          for head, of in heads)]  # fmt: skip
        rows = tuple(self._speed_row(rung) for rung in self.found.rungs)
        title = phrase("formers.highest", consistency=self.edge.text("consistency", self.found.consistency, 3))
        return Table(columns=tuple(columns), rows=rows, title=title)

    def _speed_row(self, rung: Rung) -> tuple[str, ...]:
        s, given = rung.speeds, rung.at(self.near).at_given
        window = NONE
        if s.window_high is not None:
            low = self.edge.figure("speed", rung.window.speed_low, 2)
            window = phrase("formers.window", low=low, high=self._speed(s.window_high))
        if s.practice_binds:
            first = phrase("formers.by_practice", speed=self._speed(s.window_high))
        else:
            first = phrase("formers.by_part", speed=self._speed(s.highest), part=s.first)
        if s.slow_binds:
            first += phrase("formers.if_slow", speed=self._speed(s.highest_slow))
        drainage = _pair(*(self._speed(v, "formers.does_not_limit") for v in (s.drainage_slow, s.drainage)))
        return (_name(rung), drainage, window, _end(given.end, given.end_slow), first)

    def _speed(self, value: float | None, endless: str = "formers.no_limit") -> str:
        if value is None:
            return phrase("formers.none")
        return phrase(endless) if math.isinf(value) else self.edge.figure("speed", value, 3)

    # -- one former --------------------------------------------------------------------------------------------------

    def detail(self, rung: Rung) -> Table:
        """Everything about one former at its lowest consistency, speed by speed."""
        answers, edge = rung.answers, self.edge

        def at_lowest(key: str, said: Callable[[State], str]) -> tuple[str, ...]:
            cells = (NONE if a.at_lowest is None else said(a.at_lowest) for a in answers)
            return (phrase(f"formers.detail.{key}"), *cells)

        def number(key: str, word: str, pick: Callable[[State], float]) -> tuple[str, ...]:
            cells = (NONE if a.at_lowest is None else edge.figure(word, pick(a.at_lowest), 3) for a in answers)
            return (phrase(f"formers.detail.{key}", unit=edge.unit(word)), *cells)

        def own(key: str, said: Callable[[Answer], str]) -> tuple[str, ...]:
            return (phrase(f"formers.detail.{key}"), *(said(a) for a in answers))

        rows = [
            own("lowest", lambda a: _percent(a.lowest.consistency)),
            own("stopped", lambda a: a.lowest.first.replace(phrase("tell.formers.fan_pump_flow"), "pump flow")),
            own("drainage", lambda a: _percent(a.lowest.drainage)),
            own("closed", lambda a: _percent(a.closed_form)),
            number("flow", "flow_per_width", lambda s: s.flow_per_width),
            number("depth", "stock_depth", lambda s: s.stock_depth),
            number("jet", "jet_thickness", lambda s: s.jet_thickness),
            at_lowest("jet_power", lambda s: figure(s.jet_power / 1e3, 3)),
            at_lowest("fan_power", lambda s: figure(s.fan_power / 1e3, 3)),
            at_lowest("time", lambda s: figure(s.time_available * 1e3, 3)),
            at_lowest("impulse", lambda s: figure(s.drainage_impulse, 3)),
            at_lowest("end", lambda s: _end(s.end, s.end_slow)),
        ]
        if any(a.at_given.wrap is not None for a in answers):
            rows.append(at_lowest("wrap", lambda s: f"{_wrap(s.wrap)} – {_wrap(s.wrap_slow)}"))
        rows.append(number("dryness", "dryness", lambda s: s.dryness_leaving))
        for k, (name, _) in enumerate(answers[0].at_given.water):
            cells = (NONE if a.at_lowest is None else f"{100 * a.at_lowest.water[k][1]:.0f}" for a in answers)
            rows.append((phrase("formers.detail.water", name=name), *cells))
        columns = [Column(sort="word"), *(Column(head=edge.text("speed", v, 4)) for v in self.found.speeds)]
        return Table(columns=tuple(columns), rows=tuple(rows), title=phrase("formers.detail.title", name=rung.name))

    # -- below -------------------------------------------------------------------------------------------------------

    def legend(self) -> str:
        """How to read the tables."""
        low, high = self.found.resistance_factors
        band = phrase("formers.pair", factor=f"{high:g}") if high != low else phrase("formers.calibrated")
        return phrase("formers.legend", band=band, speed=f"{self.near * 60:.0f}")

    def deeper(self) -> list[Paragraph]:
        """Where the stock is deeper than the tension of the fabric can turn: a note, never a refusal."""
        deep = []
        for rung in self.found.rungs:
            at = [self.edge.text("speed", a.speed, 4) for a in rung.answers if a.at_given.deeper_than_held]
            if at:
                deep.append(phrase("formers.deeper_one", name=_name(rung), speeds=", ".join(at)))
        return [words(phrase("formers.deeper", list="; ".join(deep)))] if deep else []


def why(rung: Rung, edge: Edge) -> str:
    """A former and when it was, with its reason."""
    name = phrase("formers.own_named", own=_name(rung), name=rung.name) if rung.branch == "own" else _name(rung)
    if rung.own_time is not None:
        name = phrase("formers.then", name=name, when=when(rung.own_time, edge))
    return phrase("formers.because", name=name, said=reason(rung))


def when(own: OwnTime, edge: Edge) -> str:
    """Years, speed and stock of a former's own time."""
    speed = edge.text("speed", own.era.speed_usual, 3)
    stock = edge.text("consistency", own.era.consistency_usual, 2)
    return phrase("formers.when", years=own.era.years, speed=speed, consistency=stock)


def reason(rung: Rung) -> str:
    """What comes first on a former as it runs faster, and why a row is like another."""
    said = [(rung.reasons if rung.own_time is None else rung.own_time.reasons).sentence]
    if rung.same_as:
        said.append(phrase("formers.same_as", other=rung.same_as, changed=rung.changed or rung.name))
    elif rung.reasons.first is None and rung.gave_out:
        said.append(phrase("formers.believed", gave_out=rung.gave_out))
    return " ".join(said)


def _name(rung: Rung) -> str:
    if rung.branch == "own":
        return phrase("formers.own")
    return phrase("formers.side_branch", name=rung.name) if rung.branch == "side branch" else rung.name


def _pair(a: str, b: str) -> str:
    return a if a == b else phrase("formers.band", low=a, high=b)


def _end(low: float | None, high: float | None) -> str:
    return _pair(*(phrase("formers.not_formed") if v is None else f"{100 * v:.0f}" for v in (low, high)))


def _wrap(wrap: float | None) -> str:
    return phrase("formers.not_formed") if wrap is None else f"{math.degrees(wrap):.0f}"


def _percent(value: float | None) -> str:
    return NONE if value is None else figure(100 * value, 2)
