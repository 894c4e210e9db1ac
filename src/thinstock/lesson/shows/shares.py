"""Water as things everybody knows, and what a kilogram of it costs: bathtubs, one tissue and its water, bars."""

from __future__ import annotations

import math

from thinstock.drawing import svg
from thinstock.lesson.own_numbers import bill, grouped, tissue
from thinstock.lesson.shows.canvas import Drawn, Place, bar, wide, words
from thinstock.lesson.subject import Subject
from thinstock.tell.everyday import size
from thinstock.words.figures import figure
from thinstock.words.phrase import capital, phrase

TUB = (15.0, 11.0)
"""Room of one bathtub, px."""
MOST_TUBS = 2000


def water(subject: Subject, place: Place, *, hidden: bool = False) -> Drawn:
    """One tissue and the stock it came in, to one scale; and every bathtub of a minute unless that is asked."""
    _, litres = tissue(subject)
    tubs = 60.0 * float(subject.result["headbox_flow"]) / size("bathtub")
    left = 0.30 * place.width
    parts = _one_tissue(litres, left, place)
    if hidden:
        alt = phrase("lesson.water.hidden", litres=figure(1e3 * litres, 2))
        return Drawn(markup="".join(parts), caption=phrase("lesson.water.short"), alt=alt)
    head = phrase("lesson.water.minute", tubs=grouped(tubs, 2))
    parts.append(words(left + 40.0, 1.1 * place.size, head, size=place.size, strong=True))
    parts.append(_tubs(tubs, (left + 40.0, 1.9 * place.size), place))
    return Drawn(
        markup="".join(parts), caption=phrase("lesson.water.caption", tub=figure(1e3 * size("bathtub"), 3)),
        alt=phrase("lesson.water.alt", litres=figure(1e3 * litres, 2), tubs=grouped(tubs, 2)),
    )  # fmt: skip


def _one_tissue(volume: float, room: float, place: Place) -> list[str]:
    """A tissue lying on its side and a cube of its stock, to one scale."""
    side, cube = size("tissue_side"), volume ** (1 / 3)
    high = place.height - 4.0 * place.size
    scale = min(0.82 * room / max(side, cube), (high - 30.0) / (cube + 0.06))
    base = place.height - 2.8 * place.size
    x = 6.0
    rise = 0.25 * cube * scale
    front = (x, base - cube * scale, cube * scale)
    parts = [
        svg.element("path", d=_cube(front, rise), class_="st-cube"),
        svg.line([(x, base + 8.0), (x + side * scale, base + 8.0)], "formed"),
        words(x, base + 8.0 + 1.35 * place.size, phrase("lesson.water.tissue"), size=place.size),
        words(x, front[1] - rise - 10.0, phrase("lesson.water.stock"), size=place.size),
    ]
    return parts


def _cube(front: tuple[float, float, float], rise: float) -> str:
    x, y, a = front
    back = f"M{x:.1f} {y:.1f}L{x + rise:.1f} {y - rise:.1f}L{x + a + rise:.1f} {y - rise:.1f}L{x + a:.1f} {y:.1f}Z"
    u, v = x + a, y + a
    side = f"M{u:.1f} {y:.1f}L{u + rise:.1f} {y - rise:.1f}L{u + rise:.1f} {v - rise:.1f}L{u:.1f} {v:.1f}Z"
    return f"M{x:.1f} {y:.1f}L{x + a:.1f} {y:.1f}L{x + a:.1f} {y + a:.1f}L{x:.1f} {y + a:.1f}Z{back}{side}"


def _tubs(count: float, corner: tuple[float, float], place: Place) -> str:
    """A small bathtub for each, in rows."""
    whole = min(round(count), MOST_TUBS)
    room = place.width - corner[0], place.height - corner[1] - 6.0
    scale = min(1.6, math.sqrt(room[0] * room[1] / (max(whole, 1) * TUB[0] * TUB[1])))
    while True:
        a, b = TUB[0] * scale, TUB[1] * scale
        columns = max(int(room[0] / a), 1)
        if math.ceil(whole / columns) * b <= room[1] or scale < 0.3:
            break
        scale *= 0.97
    data = []
    for i in range(whole):
        x, y = corner[0] + (i % columns) * a, corner[1] + (i // columns) * b
        w, h = 0.8 * a, 0.62 * b
        u, v = x + w, y + 0.6 * h
        corners = ((x, y), (u, y), (u, v), (u - 0.12 * a, y + h), (x + 0.12 * a, y + h), (x, v), (x, y))
        data.append("M" + "L".join(f"{p:.1f} {q:.1f}" for p, q in corners))
    return svg.element("g", svg.element("path", d="".join(data), class_="st-tub"), data_tubs=whole)


STAGES = ("forming", "vacuum", "press", "evaporation")


def price(subject: Subject, place: Place) -> Drawn:
    """Who takes the water, what a kilogram costs there, who takes the energy: linear, logarithmic, linear."""
    rows = {one.stage: one for one in subject.result.water_prices}
    spent = bill(subject)
    whole = math.fsum(spent.values()) or 1.0
    size_, first = place.size, 3.2 * place.size
    names = [capital(phrase(f"stage.{stage}")) for stage in STAGES]
    left = max(wide(name, size_) for name in names) + 18.0
    gap, spare = 30.0, 4.6 * size_
    each = (place.width - left - 2 * gap) / 3
    step = min((place.height - first - 10.0) / len(STAGES), 62.0)
    columns = [left + i * (each + gap) for i in range(3)]
    parts = [
        words(x, 1.2 * size_, phrase(f"lesson.price.head{i + 1}"), size=size_, strong=True)
        for i, x in enumerate(columns)
    ]
    parts += [
        words(x, 2.4 * size_, phrase(f"lesson.price.scale{i + 1}"), size=size_, role="text faint")
        for i, x in enumerate(columns)
    ]
    prices = [float(rows[s].energy_per_water) for s in STAGES if s in rows]
    low = 10 ** math.floor(math.log10(min(prices))) if prices else 1.0
    high = 10 ** math.ceil(math.log10(max(prices))) if prices else 10.0
    for i, (stage, name) in enumerate(zip(STAGES, names, strict=True)):
        y = first + (i + 0.5) * step
        parts.append(words(0.0, y + 0.35 * size_, name, size=size_))
        if stage not in rows:
            continue
        share, cost = float(rows[stage].share), float(rows[stage].energy_per_water)
        lengths = (share, math.log(cost / low) / math.log(high / low), spent[stage] / whole)
        said = (
            f"{figure(100 * share, 3)} %",
            f"{grouped(cost / 1e3, 2)} kJ",
            f"{figure(100 * spent[stage] / whole, 2)} %",
        )
        for x, part, text, role in zip(columns, lengths, said, ("st-bar-water", "st-bar", "st-bar"), strict=True):
            long = part * (each - spare - 6.0)
            parts.append(bar(x, y - 0.32 * step, long, 0.64 * step, role))
            parts.append(words(x + long + 6.0, y + 0.35 * size_, text, size=size_))
    return Drawn(markup="".join(parts), caption=phrase("lesson.price.caption"), alt=phrase("lesson.price.alt"))
