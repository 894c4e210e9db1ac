"""One view of everything up to the press exit, for readers that ask across parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.felt import Steamed
    from thinstock.machine.forming import Formed
    from thinstock.machine.headbox import Delivery
    from thinstock.machine.parts import Parts
    from thinstock.machine.press import Nipped
    from thinstock.machine.stock import Water
    from thinstock.machine.vacuum import SlotResult


@dataclass(frozen=True)
class WetEnd:
    """Everything up to the press exit; behind a former that gave no sheet there are no slots and no nips."""

    parts: Parts

    @property
    def wire_speed(self) -> Num:
        """m/s."""
        return self.parts.loop.around.demand.wire.speed

    @property
    def felt_speed(self) -> Num:
        """m/s."""
        return self.parts.loop.around.demand.felt.speed

    @property
    def reel_speed(self) -> Num:
        """m/s."""
        return self.parts.loop.around.demand.reel_speed

    @property
    def grammage_wire(self) -> Num:
        """Bone-dry, kg/m²."""
        return self.parts.loop.around.demand.wire.grammage

    @property
    def grammage_felt(self) -> Num:
        """Bone-dry, kg/m²."""
        return self.parts.loop.around.demand.felt.grammage

    @property
    def grammage_yankee(self) -> Num:
        """Bone-dry, kg/m²."""
        return self.parts.loop.around.demand.dryer.grammage

    @property
    def atmospheric_pressure(self) -> Num:
        """Pa."""
        return self.parts.loop.around.atmospheric_pressure

    @property
    def resistance(self) -> Num:
        """Specific filtration resistance of the mat at 1 kPa, m/kg."""
        return self.parts.loop.around.resistance

    @property
    def water(self) -> Water:
        """Water of the stock at the jet."""
        return self.parts.loop.around.water

    @property
    def retention(self) -> Num:
        """Of all solids, first pass."""
        return self.parts.loop.state.retention

    @property
    def return_share(self) -> Num:
        """White water back to the fan pump / drained."""
        return self.parts.loop.return_share

    @property
    def web_fines_share(self) -> Num:
        """Fines in the web's fibre."""
        return self.parts.forming.into.fines_share

    @property
    def delivery(self) -> Delivery:
        """What the headbox delivers."""
        return self.parts.headbox.delivery

    @property
    def formed(self) -> Formed:
        """What the former did."""
        return self.parts.forming

    @property
    def boxes_formed(self) -> Num:
        """True where only the wire boxes behind the former finished the forming."""
        return self.parts.forming.on_boxes

    @property
    def moisture_into_vacuum(self) -> Num:
        """kg/kg."""
        return self.parts.forming.out.moisture_ratio

    @property
    def slots(self) -> tuple[SlotResult, ...]:
        """What each slot did."""
        return self.parts.vacuum.slots if "vacuum" in self.parts else ()

    @property
    def moisture_into_press(self) -> Num:
        """kg/kg."""
        return self.parts["vacuum" if "vacuum" in self.parts else "forming"].out.moisture_ratio

    @property
    def nips(self) -> tuple[Nipped, ...]:
        """What each nip did."""
        return self.parts.press.nips if "press" in self.parts else ()

    @property
    def moisture_pressed(self) -> Num:
        """kg/kg."""
        return self.parts["press" if "press" in self.parts else "forming"].out.moisture_ratio

    @property
    def steamed(self) -> Steamed | None:
        """What a steam box did, or None."""
        return self.parts.press.steamed if "press" in self.parts else None
