"""Work of the pages that is done in a process of its own: simulated sheets, one after the other, with their pictures.

Every function here is called by `jobs` with its arguments and a function that tells how far it is.
"""

from __future__ import annotations

import io
import os
import zlib
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from threading import Lock
from typing import Any

import numpy as np

MODES = ("diffuse", "direct", "layers")
ACROSS, LEVEL = 800, 1
"""Pixels of a picture, and how hard it is packed: grain does not pack, so more costs time alone."""
MOST_RINGS = 250
"""More holes than this are not circled: the rings would hide the sheet."""
_LIGHT_SHEET = ("excess_reference", "decay_exponent", "grammage_reference", "excess_spread")


@dataclass(frozen=True, kw_only=True)
class SheetsWanted:
    """Sheets of one furnish and grammage at several consistencies."""

    name: str
    share: tuple[float, ...]
    fibre_length: tuple[float, ...]
    fibre_width: tuple[float, ...]
    coarseness: tuple[float, ...]
    grammage: float
    consistencies: tuple[float, ...]
    suspension_variation: float
    size: float
    pixel: float
    orientation: float
    seed: int
    retention: float
    density: float
    hole_diameter: float
    zones: tuple[float, ...]
    scattering: float = 40.0
    light: str = "diffuse"
    """The light of `MODES` in which they are drawn at once."""
    seen: tuple[tuple[tuple[float, float], ...], ...] = ()
    """Of each sheet and light: diameter (m) of the smallest hole that an eye sees, and by theory how many there are,
    per m²."""
    excess_reference: float = 0.0
    decay_exponent: float = 2.0
    grammage_reference: float = 4e-3
    excess_spread: float = 1e-3


@dataclass(frozen=True, kw_only=True)
class SheetMade:
    """One simulated sheet: its pictures and what was counted on it."""

    number: int
    pictures: dict[str, bytes]
    coverage: float
    cvs: tuple[float, ...]
    errors: tuple[float, ...]
    """Standard errors of the cvs, as if zones were independent."""
    holes_per_area: float
    holes_error: float
    """Standard error of the count, per m²."""
    holes_at_most: float
    """Upper bound (95 %), also where nothing was counted, per m²."""
    fibres: int
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LightMade:
    """One sheet drawn in one more light."""

    number: int
    picture: bytes


@dataclass(frozen=True, kw_only=True)
class EyeMade:
    """One sheet as an eye sees it against a window and a lamp, and the holes found in each light."""

    number: int
    pictures: dict[str, bytes]
    counted: dict[str, Any]
    """By light: an `eye_count.Counted`."""
    side: float


_HELD: dict[SheetsWanted, dict[int, Any]] = {}
"""The sheets laid last, so that another light does not lay them again."""
LAID = 0.3
"""Share of the time that the sheets take where they are also looked at."""


def looked_at(wanted: SheetsWanted, tell: Callable[..., None]) -> int:
    """Make the sheets, then look at them as an eye does; each is told as soon as it stands. Gives their number."""
    from thinstock.sheet.furnish import Furnish

    count = sheets(wanted, lambda share, *more: tell(LAID * share, *more))
    furnish = Furnish(wanted.name, wanted.share, wanted.fibre_length, wanted.fibre_width, wanted.coarseness)
    for number in range(count):

        def step(done: float, number: int = number) -> None:
            tell(LAID + (1.0 - LAID) * (number + done) / count)

        tell(LAID + (1.0 - LAID) * (number + 1) / count, "", _seen(wanted, furnish, number, step))
    return count


def _seen(wanted: SheetsWanted, furnish: Any, number: int, step: Callable[[float], None]) -> EyeMade:
    from thinstock.sheet.eye_count import count_seen, patch
    from thinstock.sheet.seen import LIGHTS, eye_picture

    def lay(side: float, pixel: float, dilation: float) -> Any:
        return _laid(wanted, furnish, number, side, pixel, dilation)

    theory = _theory(wanted, furnish, number)
    side, pixel, made = patch(lay)
    step(0.2)
    pictures, counted = {}, {}
    for place, name in enumerate(LIGHTS):
        smallest, per_area = wanted.seen[number][place]
        counted[name] = count_seen(lay, theory, smallest, per_area, side, pixel)
        rings = counted[name].places if len(counted[name].places) <= MOST_RINGS else ()
        pictures[name] = _png(eye_picture(made, name, rings, across=ACROSS, scattering=wanted.scattering))
        step(0.6 + 0.4 * place)
    return EyeMade(number=number, pictures=pictures, counted=counted, side=side)


def _theory(wanted: SheetsWanted, furnish: Any, number: int) -> Any:
    """What theory has for one of the sheets."""
    from thinstock.formula.label import worksheet
    from thinstock.sheet import formation

    light: dict[str, Any] = {name: getattr(wanted, name) for name in _LIGHT_SHEET}
    with worksheet(False):
        return formation(
            furnish, wanted.grammage, wanted.consistencies[number], wanted.suspension_variation,
            hole_diameter=wanted.hole_diameter, retention=wanted.retention, density=wanted.density,
            orientation=wanted.orientation, **light,
        )  # fmt: skip


def _laid(
    wanted: SheetsWanted, furnish: Any, number: int, side: float, pixel: float, dilation: float, **way: Any
) -> Any:
    """One of the sheets at a side, pixel and dilation; `way`: in how many threads, and who is told how far it is."""
    from thinstock.sheet import simulate

    return simulate(
        furnish, wanted.grammage, wanted.consistencies[number], wanted.suspension_variation, side, pixel,
        wanted.orientation, wanted.seed, retention=wanted.retention, density=wanted.density, dilation=dilation,
        **{name: getattr(wanted, name) for name in _LIGHT_SHEET}, **way,
    )  # fmt: skip


def warmed() -> None:
    """Lay one small sheet for nobody: libraries and machine code are loaded before somebody waits for them."""
    small = SheetsWanted(
        name="one fibre", share=(1.0,), fibre_length=(1e-3,), fibre_width=(20e-6,), coarseness=(8e-8,), grammage=0.015,
        consistencies=(0.002,), suspension_variation=0.2, size=8e-3, pixel=1e-4, orientation=0.0, seed=1,
        retention=0.7, density=1000.0, hole_diameter=1e-4, zones=(1e-3,),
    )  # fmt: skip
    sheets(small, lambda *_: None)


def sheets(wanted: SheetsWanted, tell: Callable[..., None]) -> int:
    """Make the sheets; each is told as soon as it stands. Gives their number."""
    from thinstock.sheet import close_up
    from thinstock.sheet.furnish import Furnish

    for library in ("scipy.fft", "scipy.special", "thinstock.sheet.eye_count"):
        import_module(library)  # threads that load one at once would meet it half loaded
    furnish = Furnish(wanted.name, wanted.share, wanted.fibre_length, wanted.fibre_width, wanted.coarseness)
    count = len(wanted.consistencies)
    _HELD.clear()
    held = _HELD.setdefault(wanted, {})
    tell(0.0, "")
    told, done = Lock(), np.zeros((count, 2))

    def step(number: int, turn: int, share: float) -> None:
        with told:
            done[number, turn] = share
            tell(0.02 + 0.96 * float(done.mean()))

    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        try:
            laid = []
            for number in range(count):
                one = (wanted, furnish, number, partial(step, number))
                laid.append((pool.submit(_map, *one), pool.submit(_count, *one)))
            detail = _png(close_up(furnish, wanted.grammage, wanted.orientation, wanted.seed, across=ACROSS))
            with told:
                tell(0.02 + 0.96 * float(done.mean()), "", detail)
            for number, (made, found) in enumerate(laid):
                held[number] = made.result()
                sheet = _one(wanted, number, held, found)
                with told:
                    tell(0.02 + 0.96 * float(done.mean()), "", sheet)
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    return count


def lit(asked: tuple[SheetsWanted, str], tell: Callable[..., None]) -> int:
    """Draw the sheets in another light; each is told as soon as it stands. Gives their number."""
    from thinstock.sheet.furnish import Furnish

    wanted, light = asked
    furnish = Furnish(wanted.name, wanted.share, wanted.fibre_length, wanted.fibre_width, wanted.coarseness)
    held, count = _HELD.get(wanted, {}), len(wanted.consistencies)
    first = None
    for number in range(count):
        made = held.get(number)
        if made is None:
            made = _laid(wanted, furnish, number, wanted.size, wanted.pixel, 0.0)
        first = made if first is None else first
        drawn = LightMade(number=number, picture=_drawn(wanted, made, first, light))
        tell((number + 1) / count, "", drawn)
    return count


def _drawn(wanted: SheetsWanted, made: Any, first: Any, light: str) -> bytes:
    """A sheet in a light; all are drawn with the gain that suits the first."""
    from thinstock.sheet import picture
    from thinstock.sheet.pictures import gain_of

    gain = gain_of(_light(wanted, first, light), light) if light != "layers" else None
    return _png(picture(made, light, across=ACROSS, gain=gain, scattering=wanted.scattering))


def _map(wanted: SheetsWanted, furnish: Any, number: int, step: Callable[[int, float], None]) -> Any:
    """One of the sheets as it is drawn."""
    return _laid(
        wanted, furnish, number, wanted.size, wanted.pixel, 0.0, threads=1,
        on_progress=lambda done, total: step(0, done / max(total, 1)),
    )  # fmt: skip


def _count(wanted: SheetsWanted, furnish: Any, number: int, step: Callable[[int, float], None]) -> Any:
    """The holes counted on one of the sheets."""
    from thinstock.sheet.eye_count import count_seen

    def lay(side: float, pixel: float, widened: float) -> Any:
        return _laid(
            wanted, furnish, number, side, pixel, widened, threads=1,
            on_progress=lambda done, total: step(1, done / max(total, 1)),
        )  # fmt: skip

    theory = _theory(wanted, furnish, number)
    return count_seen(lay, theory, wanted.hole_diameter, float(theory.holes_per_area), wanted.size, wanted.pixel)


def _one(wanted: SheetsWanted, number: int, held: dict[int, Any], counted: Future[Any]) -> SheetMade:
    """A sheet that was laid: drawn and measured, with the holes as soon as they are counted."""
    from thinstock.sheet import zone_cv, zone_cv_error

    made = held[number]
    pictures = {wanted.light: _drawn(wanted, made, held[0], wanted.light)}
    cvs = np.atleast_1d(zone_cv(made.grammage, made.pixel, np.array(wanted.zones)))
    errors = np.atleast_1d(zone_cv_error(cvs, made.grammage, made.pixel, np.array(wanted.zones)))
    coverage = float(np.mean(made.coverage, dtype=np.float64))
    found = counted.result()
    return SheetMade(
        number=number, pictures=pictures, coverage=coverage, cvs=tuple(float(v) for v in cvs),
        errors=tuple(float(v) for v in errors), holes_per_area=found.per_area,
        holes_error=found.error, holes_at_most=found.at_most,
        fibres=made.fibres,
        notes=tuple(note.text for note in made.notes),
    )  # fmt: skip


def _light(wanted: SheetsWanted, made: Any, mode: str) -> Any:
    from thinstock.sheet import look_through

    return look_through(made, mode, scattering=wanted.scattering, block=max(1, made.coverage.shape[1] // ACROSS))


def _png(image: Any) -> bytes:
    held = io.BytesIO()
    if image.mode == "RGB" and image.getcolors(256) is not None:
        image = image.convert("P") if _coloured(image) else image.convert("L")
    image.save(held, format="PNG", compress_level=LEVEL, compress_type=zlib.Z_RLE)  # grain has no repeats to look for
    return held.getvalue()


def _coloured(image: Any) -> bool:
    return any(r != g or g != b for _, (r, g, b) in image.getcolors(256))
