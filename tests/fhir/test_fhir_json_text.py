"""JSON text: exact decimals, our order, UTF-8. Second reader: the standard library's parser."""

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.fhir import json_text
from converter.fhir.json_text import indented_json_text

ATOMS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.text()
    | st.decimals(allow_nan=False, allow_infinity=False, places=3)
)
VALUES = st.recursive(
    ATOMS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


def read(text: str) -> Any:
    return json.loads(text, parse_float=Decimal)


@given(st.dictionaries(st.text(), VALUES, max_size=4))
def test_what_is_written_reads_back(resource: dict[str, Any]) -> None:
    assert read(json_text(resource)) == resource
    assert read(indented_json_text(resource)) == resource


def test_trailing_zeros_and_order_stay() -> None:
    assert json_text({"b": Decimal("2.50"), "a": Decimal("2")}) == '{"b":2.50,"a":2}'


def test_letters_beyond_ascii_are_written_as_themselves() -> None:
    assert json_text({"text": "Trömner"}) == '{"text":"Trömner"}'


def test_one_line() -> None:
    assert "\n" not in json_text({"text": "a\nb", "value": Decimal("0.5")})


@pytest.mark.parametrize("number", [float("nan"), float("inf"), Decimal("NaN"), Decimal("Infinity")])
def test_numbers_that_are_none_are_refused(number: float | Decimal) -> None:
    with pytest.raises(ValueError, match=r"finite|JSON compliant"):
        json_text({"value": number})


def test_other_kinds_are_refused() -> None:
    with pytest.raises(TypeError, match="set has no place"):
        json_text({"value": {1}})
