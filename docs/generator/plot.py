"""A line in a frame, as SVG: enough for the course of a formula over its range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

WIDTH, HEIGHT, LEFT, BOTTOM, RIGHT, TOP = 560, 300, 70, 46, 18, 14
INK, FAINT, WATER = "#1c1c1c", "#9a9a9a", "#1b5e8c"


def ticks(low: float, high: float, count: int = 5) -> list[float]:
    """Round numbers between two ends."""
    if not high > low:
        return [low]
    step = 10 ** math.floor(math.log10((high - low) / count))
    for factor in (1, 2, 5, 10):
        if (high - low) / (step * factor) <= count:
            step *= factor
            break
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def line(
    x: Sequence[float], y: Sequence[float], x_title: str, y_title: str, band: tuple[float, float] | None = None
) -> str:
    """The line through points; `band` marks the stretch of x in which the formula is known to hold."""
    x_low, x_high = min(x), max(x)
    y_low, y_high = min(y), max(y)
    if y_high - y_low < 1e-12 * max(abs(y_high), 1e-300):
        y_low, y_high = y_low - 0.5 * abs(y_low or 1), y_high + 0.5 * abs(y_high or 1)
    if 0 < y_low < 0.4 * y_high:
        y_low = 0.0

    def at_x(value: float) -> float:
        return LEFT + (value - x_low) / (x_high - x_low) * (WIDTH - LEFT - RIGHT)

    def at_y(value: float) -> float:
        return HEIGHT - BOTTOM - (value - y_low) / (y_high - y_low) * (HEIGHT - BOTTOM - TOP)

    parts = []
    if band is not None:
        a, b = max(band[0], x_low), min(band[1], x_high)
        if b > a:
            parts.append(
                f'<rect x="{at_x(a):.1f}" y="{TOP}" width="{at_x(b) - at_x(a):.1f}" height="{HEIGHT - BOTTOM - TOP}" '
                f'fill="#f0ede5"/>'
            )
    for tick in ticks(x_low, x_high):
        px = at_x(tick)
        parts.append(f'<path d="M{px:.1f} {HEIGHT - BOTTOM}v5" stroke="{INK}"/>')
        parts.append(_text(px, HEIGHT - BOTTOM + 18, _number(tick), "middle"))
    for tick in ticks(y_low, y_high):
        py = at_y(tick)
        parts.append(f'<path d="M{LEFT} {py:.1f}h-5" stroke="{INK}"/>')
        parts.append(_text(LEFT - 8, py + 4, _number(tick), "end"))
    parts.append(f'<path d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}H{WIDTH - RIGHT}" fill="none" stroke="{INK}"/>')
    path = " ".join(
        f"{'M' if i == 0 else 'L'}{at_x(a):.1f} {at_y(b):.1f}" for i, (a, b) in enumerate(zip(x, y, strict=True))
    )
    parts.append(f'<path d="{path}" fill="none" stroke="{WATER}" stroke-width="2.2"/>')
    parts.append(_text(WIDTH - RIGHT, HEIGHT - 6, x_title, "end"))
    parts.append(_text(LEFT + 6, TOP + 10, y_title, "start"))
    inside = "".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'font-family="Georgia, serif" font-size="13">{inside}</svg>'
    )


def _text(x: float, y: float, said: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{INK}">{escape(said)}</text>'


def _number(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")
