"""What furnish, felt, nip and rewet each do to the dryness behind the last nip: a sentence each."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from thinstock.words import units
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.result import Result
    from thinstock.words.figures import Edge


def press_parts(result: Result, edge: Edge) -> Iterator[str]:
    """Three lines, and a fourth on the weight where one felted side tells the driest."""
    around, nip, web = result.parts.press.around, result.parts.press.nips[-1], result.parts.press.out

    def said(word: str, value: object, digits: int = 3) -> str:
        return units.write_word(word, float(value), edge.unit_set, digits, atmospheric_pressure=edge.air)  # type: ignore[arg-type]

    furnish = around.furnish
    yield phrase(
        "explain.furnish",
        retention=said("water_retention_value", furnish.water_retention_value),
        wall=said("moisture_ratio", nip.equilibrium_moisture),
        pressed=said("moisture_ratio", nip.moisture_ratio_pressed),
        surface=said("specific_surface", furnish.specific_surface),
        permeability=said("specific_permeability", around.pressing.specific_permeability),
    )
    yield phrase(
        "explain.nip",
        impulse=said("press_impulse", nip.press_impulse),
        web=said("press_impulse", nip.impulse_web),
        felt=said("press_impulse", nip.impulse_felt, 2),
        water=said("felt_moisture_ratio", nip.loop.felt_moisture_ratio),
        full=said("share", nip.nip_saturation, 2),
    )
    yield phrase(
        "explain.rewet",
        rewet=said("rewet", nip.rewet),
        contact=said("contact_time", nip.contact_time, 2),
        at_contact=said("rewet", nip.rewet_at_contact),
        share=said("share", nip.share_rewet, 2),
    )
    if nip.grammage_driest is not None:
        heavier = float(web.fibre) > float(nip.grammage_driest)
        yield phrase(
            "explain.heavier" if heavier else "explain.lighter",
            grammage=said("grammage", web.fibre),
            driest=said("grammage", nip.grammage_driest),
        )
