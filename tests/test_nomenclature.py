"""Every word is complete: symbol or none, base SI unit, one-line meaning, kind, edge units, usual range."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest

from harness import quantity_of
from thinstock.words import nomenclature, units
from thinstock.words.nomenclature import PLAIN_KINDS, word, words

NOMENCLATURE = files("thinstock.words").joinpath("nomenclature.toml").read_text(encoding="utf-8")


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


def test_only_the_words_that_are_asked_for_are_read():
    known = nomenclature.Words(NOMENCLATURE)
    assert known["grammage"] == words()["grammage"] and list(known.read) == ["grammage"]
    assert len(known) > 500 and "grammage" in known and "wire_sped" not in known


def test_each_word_is_what_stands_in_the_file_as_a_whole():
    whole = tomllib.loads(NOMENCLATURE)
    assert list(whole) == list(words())
    for name, row in whole.items():
        found = words()[name]
        assert (found.symbol, found.unit, found.meaning, found.kind) == tuple(
            row.get(key, "") for key in ("symbol", "unit", "meaning", "kind")
        )


def test_a_word_that_stands_there_twice_is_refused():
    with pytest.raises(tomllib.TOMLDecodeError):
        nomenclature.Words('[one]\nunit = "m"\n[two]\nunit = "m"\n[one]\nunit = "kg"\n')
