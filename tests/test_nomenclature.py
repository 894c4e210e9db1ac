"""Every word is complete: symbol or none, base SI unit, one-line meaning, kind, edge units, usual range."""

from __future__ import annotations

import pytest

from harness import quantity_of
from thinstock.words import nomenclature, units
from thinstock.words.nomenclature import PLAIN_KINDS, word, words


@pytest.mark.parametrize("name", words())
def test_a_word_is_complete(name: str) -> None:
    found = word(name)
    assert found.meaning and "\n" not in found.meaning
    assert found.kind in (*units.kinds(), *PLAIN_KINDS)
    if found.kind in PLAIN_KINDS:
        return
    assert found.usual is not None and found.usual[0] < found.usual[1]
    first = units.units_of(found.kind)[0].removesuffix("(a)").removesuffix(" LHV").removesuffix(" dry air")
    assert quantity_of(found.unit).is_compatible_with(quantity_of(first))
    assert float(quantity_of(found.unit).to_base_units().magnitude) == pytest.approx(
        1.0 / 31557600.0 if found.unit.endswith("/a") else 1.0
    )


def test_no_two_words_share_a_meaning() -> None:
    meanings: dict[str, list[str]] = {}
    for name, found in words().items():
        meanings.setdefault(found.meaning, []).append(name)
    twins = {meaning: names for meaning, names in meanings.items() if len(names) > 1}
    allowed = [{"reel_dryness", "dryness_reel"}, {"water_heat_capacity", "liquid_heat_capacity"}]
    assert [names for names in twins.values() if set(names) not in allowed] == []


def test_an_unknown_word_names_the_nearest() -> None:
    with pytest.raises(KeyError, match="wire_speed"):
        nomenclature.word("wire_sped")
