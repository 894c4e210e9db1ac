"""How a map looks against light: clouds in diffuse light, holes in direct light, and grey levels for a picture.

Diffuse light hides holes, since it also comes through the paper beside them: always show direct light too. The
optical values are for illustration, not measured.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Refused
from thinstock.sheet.cast import SheetMap
from thinstock.sheet.strip import Raster
from thinstock.words.fault import fault_in

MODES = ("diffuse", "direct")
SCATTERING = {"tissue": 40.0, "mechanical": 50.0, "coarse softwood": 25.0}
"""m²/kg, assumed."""
EXTINCTION = 0.9
"""Per fibre layer, assumed."""
GAMMA = 1.6
_ROWS = 256


def look_through(
    sheet_map: SheetMap,
    mode: str,
    *,
    scattering: float = SCATTERING["tissue"],
    extinction: float = EXTINCTION,
    block: int = 1,
) -> Raster:
    """Light that comes through, 0 to 1, averaged over blocks of pixels after the law so that holes shine.

    "diffuse": 1/(1 + scattering grammage), paint theory without absorption (source key KUBELKA_MUNK);
    "direct": exp(-extinction coverage).
    """
    _check(mode, scattering, extinction, block, sheet_map.coverage.shape)
    rows, columns = (n // block for n in sheet_map.coverage.shape)
    out: Raster = np.empty((rows, columns), np.float32)
    band = max(1, _ROWS // block)
    for start in range(0, rows, band):
        stop = min(start + band, rows)
        part = np.s_[start * block : stop * block, : columns * block]
        through = _law(sheet_map, part, mode, scattering, extinction)
        shape = (stop - start, block, columns, block)
        out[start:stop] = through.reshape(shape).mean(axis=(1, 3), dtype=np.float32)
    return out


def _law(sheet_map: SheetMap, part: Any, mode: str, scattering: float, extinction: float) -> Raster:
    """The light through the pixels of a part of the map."""
    layers = sheet_map.coverage[part]
    if mode == "direct":
        direct: Raster = np.exp(np.float32(-extinction) * layers)
        return direct
    if sheet_map.second.size:
        diffuse: Raster = 1.0 / (1.0 + np.float32(scattering) * sheet_map.second[part])
    else:
        diffuse = 1.0 / (1.0 + np.float32(scattering * sheet_map.fibre_grammage) * layers)
    return diffuse


def grey(transmittance: Raster, gain: float, gamma: float = GAMMA) -> NDArray[np.uint8]:
    """Grey levels 0 to 255; use the same gain for sheets that are to be compared."""
    if not (gain > 0.0 and gamma > 0.0):
        raise Refused(fault_in("sheet.look.gain", "gain", f"{gain:.6g}, gamma {gamma:.6g}"))
    bright = np.clip(gain * np.asarray(transmittance), 0.0, 1.0) ** (1.0 / gamma)
    levels: NDArray[np.uint8] = np.rint(255.0 * bright).astype(np.uint8)
    return levels


def _check(mode: str, scattering: float, extinction: float, block: int, shape: tuple[int, ...]) -> None:
    faults = []
    if mode not in MODES:
        faults.append(fault_in("sheet.look.mode", "mode", repr(mode), modes=", ".join(MODES)))
    for field, value in (("scattering", scattering), ("extinction", extinction)):
        if not value >= 0.0:
            faults.append(fault_in("sheet.look.must_not_be_negative", field, str(value)))
    if not 1 <= block <= min(shape):
        faults.append(fault_in("sheet.look.block", "block", str(block), shape=min(shape)))
    if faults:
        raise Refused(faults)
