"""Whatever stands in a resource, the check ends with diagnostics and never raises."""

import copy
from random import Random
from typing import Any

from check_helpers import errors
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutations import good_resources, mutated

from converter.check import Checker, load_definitions
from converter.check.checker import Checker as Door

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
CHECKER: Door = Checker(load_definitions())
GOOD = good_resources()


def places(value: Any) -> list[tuple[Any, Any]]:
    found = []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in items:
        found.append((value, key))
        found.extend(places(one))
    return found


@settings(max_examples=400, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(number=st.integers(0, len(GOOD) - 1), place=st.integers(0, 10_000), value=JSON)
def test_anything_anywhere(number: int, place: int, value: Any) -> None:
    resource = copy.deepcopy(GOOD[number][1])
    found = places(resource)
    holder, key = found[place % len(found)]
    holder[key] = value
    CHECKER.check(resource, ["https://plexor.example/fhir/StructureDefinition/reflex-finding"])


@settings(max_examples=200, deadline=None, derandomize=True)
@given(JSON)
def test_anything_at_all(value: Any) -> None:
    assert errors(CHECKER.check(value))


def test_many_mutations_end() -> None:
    for seed in range(3):
        for _, resource in mutated(300, seed):
            CHECKER.check(resource)


def test_what_is_remembered_changes_no_verdict() -> None:
    """A checker that has seen much says exactly what a new one says."""
    definitions = load_definitions()
    warm = Checker(definitions)
    faulty = [resource for seed in range(2) for _, resource in mutated(150, seed)]
    for resource in [*(one for _, one in GOOD), *faulty, *faulty]:
        warm.check(resource)
    for resource in Random(5).sample(faulty, 50):
        assert warm.check(resource) == Checker(definitions).check(resource)


def test_two_faults_at_once_give_two_findings() -> None:
    random = Random(3)
    resource = copy.deepcopy(random.choice([one for name, one in GOOD if name.startswith("finding")]))
    resource["colour"] = "red"
    resource["status"] = "no-such-code"
    assert {code for code, _ in errors(CHECKER.check(resource))} == {
        "element-unknown",
        "code-not-in-value-set",
    }


def test_deep_nesting_is_said() -> None:
    extension: dict[str, Any] = {"url": "https://e.example/x", "valueString": "a"}
    for _ in range(3000):
        extension = {"url": "https://e.example/x", "extension": [extension]}
    resource = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"text": "a"},
        "extension": [extension],
    }
    assert "nested-too-deeply" in {code for code, _ in errors(CHECKER.check(resource))}
