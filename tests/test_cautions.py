"""Every part of the machine has its cautions, each said once; a vessel's certificate is never replaced."""

from __future__ import annotations

import pytest

from thinstock.words.cautions import all_cautions, cautions_for

PARTS = (
    *(
        "forming",
        "headbox",
        "vacuum",
        "press",
        "yankee",
        "hood",
        "felt",
        "circulation",
        "formation",
        "survey",
    ),
    "drives",
)


@pytest.mark.parametrize("part", PARTS)
def test_every_part_has_its_cautions(part: str) -> None:
    assert all_cautions()[part].texts


def test_a_caution_is_a_sentence_and_is_said_once() -> None:
    texts = [text for found in all_cautions().values() for text in found.texts]
    assert len(texts) == len(set(texts))
    assert all(text[0].isupper() and text.endswith(".") for text in texts)


@pytest.mark.parametrize("part", ["press", "yankee"])
def test_load_and_pressure_are_left_to_the_certificate(part: str) -> None:
    assert any("only from the vessel's certificate" in text for text in all_cautions()[part].texts)


def test_a_report_gets_the_general_ones_first_and_the_parts_in_order() -> None:
    assert [c.part for c in cautions_for(["hood", "press"])] == ["general", "press", "hood"]
    with pytest.raises(KeyError, match="boiler"):
        cautions_for(["boiler"])
