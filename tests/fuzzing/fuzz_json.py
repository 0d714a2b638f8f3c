"""Edits of JSON values that hypothesis draws and shrinks: replaced, taken out, put in, doubled, turned."""

import copy
from typing import Any

from fuzz_damage import parted
from hypothesis import strategies as st

VALUES: list[Any] = [
    *parted(r"""
    x * 1 -1 2024-02-30 #x Observation Observation.code Observation.value[x] Observation.code.coding:a
    .. . | a|b Extension Nope required $this ( ' %resource resolve() a.where(b=1).exists() matches('(a+)+$')
    http://hl7.org/fhir/StructureDefinition/Observation http://hl7.org/fhir/StructureDefinition/Extension
    """),
    *(
        None,
        True,
        0,
        -1,
        1.5,
        10**30,
        "",
        " ",
        "x x",
        "1 and",
        "9" * 5000,
        ".".join("a" * 60),
        "\x00",
        "\ud800",
    ),
    *([], {}, [[]], [None], [{}], ["a"], ["a", "a"], {"a": 1}, {"element": []}, {"coding": [None]}),
    *([{"path": "Observation"}], [{"id": "Observation"}], [{"code": None}], [{"code": "Nope"}]),
    *({"resourceType": None}, {"resourceType": "Bundle"}, {"strength": "required"}, {"rules": "open"}),
    {"strength": "required", "valueSet": "x"},
    [{"code": "Reference", "targetProfile": ["x"]}],
    {"rules": "closed", "discriminator": [{"type": "value", "path": "$this"}]},
    {"discriminator": [{"type": "value", "path": "resolve().code"}]},
    {"discriminator": [{"type": "profile", "path": "extension('x').value"}]},
    {"discriminator": [{"type": "exists", "path": "a.b.c"}]},
]
KEYS = [
    *parted(r"""
    a _ resourceType slicing type contentReference sliceName binding fixedString min
    patternCodeableConcept max mustSupport extension contained id path differential snapshot
    constraint content base baseDefinition derivation context compose expansion concept include filter
    valueSet kind url code system element abstract property version
    """),
]  # fmt: skip

Edit = tuple[str, int, Any, str]
"""What is done, where, and with which value and key."""


def edits(most: int) -> st.SearchStrategy[list[Edit]]:
    """A few edits."""
    kinds = st.sampled_from(["replace", "take out", "put in", "double", "swap", "wrap"])
    return st.lists(
        st.tuples(kinds, st.integers(0, 2**20), st.sampled_from(VALUES), st.sampled_from(KEYS)),
        min_size=1,
        max_size=most,
    )


def edited(value: Any, done: list[Edit]) -> Any:
    """The value after all edits; it is changed itself."""
    for kind, where, new, key in done:
        places = _places(value)
        if places:
            _edit(kind, *places[where % len(places)], copy.deepcopy(new), key)
    return value


def _places(value: Any) -> list[tuple[Any, Any]]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [place for key, one in items for place in ((value, key), *_places(one))]


def _edit(kind: str, holder: Any, place: Any, new: Any, key: str) -> None:
    old = holder[place]
    if kind == "take out":
        del holder[place]
    elif kind == "put in" and isinstance(old, dict):
        old[key] = new
    elif kind == "double" and isinstance(old, list):
        holder[place] = old + copy.deepcopy(old)
    elif kind == "swap" and isinstance(old, list):
        old.reverse()
    elif kind == "wrap":
        holder[place] = [old]
    else:
        holder[place] = new
