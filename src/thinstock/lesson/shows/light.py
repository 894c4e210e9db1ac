"""Sheets on a light table: grades beside each other, or one sheet whose stock is diluted, fibre by fibre."""

from __future__ import annotations

import io
from functools import lru_cache

from thinstock.drawing import svg
from thinstock.lesson.shows.canvas import Drawn, Place, words
from thinstock.lesson.subject import Subject
from thinstock.machine.evenness import ends_of, furnish_of
from thinstock.sheet import simulate
from thinstock.sheet.furnish import Furnish
from thinstock.sheet.look import SCATTERING, look_through
from thinstock.sheet.pictures import gain_of, picture
from thinstock.sheet.showcase import library_grade
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

SIDE, PIXEL, ACROSS = 30e-3, 50e-6, 480
"""Side of a sheet and of its smallest spot, m; points of its picture."""
MODES = ("diffuse", "direct")


@lru_cache(maxsize=96)
def _laid(furnish: Furnish, grammage: float, consistency: float, scattering: float) -> tuple[bytes, bytes]:
    """One sheet in diffuse and in direct light, PNG; the same seed always, so that only the stock differs."""
    ends = ends_of(None)["base"]
    made = simulate(
        furnish, grammage, consistency, float(ends.suspension_variation), SIDE, PIXEL, 0.2, 1,
        excess_reference=float(ends.light.excess_reference), decay_exponent=float(ends.light.decay_exponent),
        grammage_reference=float(ends.light.grammage_reference), excess_spread=float(ends.light.excess_spread),
    )  # fmt: skip
    found = []
    for mode in MODES:
        gain = gain_of(look_through(made, mode, scattering=scattering), mode)
        held = io.BytesIO()
        image = picture(made, mode, across=ACROSS, gain=gain, scattering=scattering).convert("L")
        image.save(held, format="PNG")
        found.append(held.getvalue())
    return found[0], found[1]


def _hung(
    parts: list[str], place: Place, at: tuple[float, float, float], content: bytes, said: tuple[str, str]
) -> None:
    """A picture on the table with its words below."""
    x, y, side = at
    parts.append(svg.element("image", href=place.image(content), x=x, y=y, width=side, height=side))
    parts.append(svg.element("rect", x=x, y=y, width=side, height=side, class_=svg.klass("frame")))
    parts.append(
        words(x + side / 2, y + side + 1.35 * place.size, said[0], size=place.size, anchor="middle", strong=True)
    )
    parts.append(
        words(x + side / 2, y + side + 2.6 * place.size, said[1], size=place.size, anchor="middle", role="text faint")
    )


def grades(names: tuple[str, ...], place: Place) -> Drawn:
    """Grades at the consistency the trade runs, in the same light, each printed with its own brightness."""
    parts: list[str] = []
    count = max(len(names), 1)
    side = min(place.height - 3.4 * place.size, (place.width - 40.0 * (count - 1)) / count)
    gap = (place.width - count * side) / (count + 1)
    for i, name in enumerate(names):
        grade = library_grade(name)
        content = _laid(grade.furnish, grade.grammage, grade.usual, grade.scattering)[0]
        x = gap + i * (side + gap)
        said = phrase("lesson.light.at", grammage=figure(1e3 * grade.grammage, 3), consistency=_per_cent(grade.usual))
        _hung(parts, place, (x, 2.0, side), content, (name, said))
    return Drawn(
        markup="".join(parts), caption=phrase("lesson.light.own", side=figure(1e3 * SIDE, 2)),
        alt=phrase("lesson.light.alt", names=", ".join(names)),
    )  # fmt: skip


def sheet(subject: Subject, place: Place) -> Drawn:
    """One machine's sheet at its consistency: clouds in diffuse light, holes in direct light."""
    result = subject.result
    consistency = float(result["consistency"])
    found = _laid(
        furnish_of(subject.machine),
        round(float(result["grammage_on_wire"]), 6),
        _stepped(consistency),
        SCATTERING["tissue"],
    )
    parts: list[str] = []
    side = min(place.height - 3.4 * place.size, (place.width - 40.0) / 2)
    gap = (place.width - 2 * side) / 3
    for i, (content, mode) in enumerate(zip(found, MODES, strict=True)):
        said = phrase(f"lesson.light.{mode}"), phrase(f"lesson.light.{mode}_shows")
        _hung(parts, place, (gap + i * (side + gap), 2.0, side), content, said)
    return Drawn(
        markup="".join(parts), caption=phrase("lesson.light.simulated", side=figure(1e3 * SIDE, 2)),
        alt=phrase("lesson.light.one", consistency=_per_cent(consistency)),
    )  # fmt: skip


def _stepped(consistency: float) -> float:
    """To two digits, so that a slider meets sheets that are laid already."""
    return float(f"{consistency:.1e}")


def _per_cent(share: float) -> str:
    return f"{figure(100 * share, 2)} %"
