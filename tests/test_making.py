"""Values of a frozen class that are made the quick way are like any other of the class."""

import pickle
from dataclasses import FrozenInstanceError, replace

import pytest

from converter.model import Note, Reading
from converter.model.making import maker

made = maker(Note)


def test_a_value_equals_one_that_its_class_made() -> None:
    quick, usual = made(id="a", text="KJ 2+", hash="0", age=3), Note(id="a", text="KJ 2+", hash="0", age=3)
    assert type(quick) is Note
    assert (quick, hash(quick), repr(quick)) == (usual, hash(usual), repr(usual))
    assert pickle.loads(pickle.dumps(quick)) == usual == replace(quick, patient=None)


def test_a_value_is_frozen() -> None:
    with pytest.raises(FrozenInstanceError):
        made(id="a", text="KJ 2+", hash="0").text = "AJ 2+"  # type: ignore[misc]


def test_a_field_without_a_default_is_asked_for_and_an_unknown_one_refused() -> None:
    with pytest.raises(TypeError, match="hash"):
        made(id="a", text="KJ 2+")  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="colour"):
        made(id="a", text="KJ 2+", hash="0", colour="red")  # type: ignore[call-arg]


def test_every_default_is_that_of_the_class() -> None:
    told = {"id": "a", "system": None, "note_hash": "0", "schema": "s", "program": "p", "vocabulary": "v"}
    assert maker(Reading)(**told) == Reading(**told)  # type: ignore[arg-type]
