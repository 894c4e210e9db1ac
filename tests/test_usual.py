"""The usual range of a word stands in the nomenclature; a field of a part may narrow it and never leaves it."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator

import numpy as np
import pytest

import thinstock.machine
from thinstock.words.nomenclature import word
from thinstock.words.phrase import phrases
from thinstock.words.quantity import ANY, Declared, Fields, Q, declared

for module in pkgutil.iter_modules(thinstock.machine.__path__):
    importlib.import_module(f"thinstock.machine.{module.name}")


def kinds(part: type = Fields) -> Iterator[type]:
    for kind in part.__subclasses__():
        yield kind
        yield from kinds(kind)


FIELDS: dict[str, Declared] = {
    f"{kind.__name__}.{field.name}": field
    for kind in kinds()
    if kind.__module__.startswith("thinstock.")
    for field in declared(kind)
    if isinstance(field.about, Q)
}


def test_every_word_about_a_field_belongs_to_one() -> None:
    keys = {field.about.key for kind in kinds() for field in declared(kind) if field.about is not None}
    said = {key.removeprefix("remedy.") for key in phrases("en", "fields")}
    assert said - keys == set(), "no such field: mend the key in words/phrases/en/fields.toml"


def test_a_field_that_gives_no_usual_range_has_its_words() -> None:
    assert Q("vacuum").usual == word("vacuum").usual
    assert Q("vacuum", usual=(1e4, 2e4)).usual == (1e4, 2e4)
    assert Q("vacuum", usual=ANY).usual is None
    assert Q("vacuum", limit=True).usual is None


@pytest.mark.parametrize("name", FIELDS)
def test_the_usual_range_of_a_field_lies_inside_its_words_and_repeats_nothing(name: str) -> None:
    about = FIELDS[name].about
    assert isinstance(about, Q)
    if not about.narrowed:
        return
    whole = word(about.word).usual
    assert about.usual is not None and whole is not None
    assert whole[0] <= about.usual[0] < about.usual[1] <= whole[1], (
        f"{name} is usually {about.usual}, its word {about.word} {whole}: widen the word in "
        f"words/nomenclature.toml to all its uses, or give the field a word of its own"
    )
    assert about.usual != whole, f"{name} repeats the usual range of {about.word}: leave usual= out"


@pytest.mark.parametrize("name", FIELDS)
def test_a_usual_value_is_possible_and_a_default_is_usual(name: str) -> None:
    about, default = FIELDS[name].about, FIELDS[name].default
    assert isinstance(about, Q)
    if about.usual is None:
        return
    low, high = about.usual
    assert about.possible[0] <= low < high <= about.possible[1]
    if default is not None:
        assert np.all((np.asarray(default) >= low) & (np.asarray(default) <= high)), f"{default} not in {about.usual}"
