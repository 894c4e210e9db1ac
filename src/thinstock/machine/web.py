"""The state that moves down the machine: one small frozen value."""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.words.quantity import Num


@dataclass(frozen=True, kw_only=True, eq=False)
class Web:
    """The sheet at one place: bone-dry grammage (kg/m²), its fines, moisture ratio (kg water/kg fibre), state."""

    grammage: Num
    fines_share: Num
    moisture_ratio: Num
    temperature: Num
    speed: Num
    carrier: str
    """What the sheet lies on: "wire", "felt", "Yankee" or "reel"."""
    formed: Num = True
    """False where stock is left undrained (per case)."""
    free_stock: Num = 0.0
    """Undrained stock, kg/m²."""
