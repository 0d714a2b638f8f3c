"""Formats of every FHIR primitive.

Source: FHIR R4, https://hl7.org/fhir/R4/datatypes.html; the values follow its rules and its patterns.
"""

from decimal import Decimal
from typing import Any

import pytest

from converter.check.primitives import primitive_check
from converter.check.xhtml import has_content, wrong_xhtml

DIV = '<div xmlns="http://www.w3.org/1999/xhtml">{}</div>'

GOOD: list[tuple[str, Any]] = [
    *[("boolean", value) for value in (True, False)],
    *[("integer", value) for value in (0, -1, 2147483647, -2147483648)],
    *[("unsignedInt", value) for value in (0, 2147483647)],
    *[("positiveInt", value) for value in (1, 2147483647)],
    *[("integer64", value) for value in ("0", "-1", "9223372036854775807")],
    *[("decimal", value) for value in (0, 1.5, Decimal("1.10"), Decimal("-1E-22"), 10**18)],
    *[("string", value) for value in ("a", "two\nlines", "tab\there", "ü")],
    *[("code", value) for value in ("a", "a b", "2+", "é")],
    *[("id", value) for value in ("a", "A-1.b", "x" * 64)],
    *[("uri", value) for value in ("http://a.example/b", "urn:oid:1.2.3", "relative", "#a")],
    ("uri", "urn:uuid:c757873d-ec9a-4326-a141-556f43239520"),
    ("oid", "urn:oid:2.16.840.1"),
    ("uuid", "urn:uuid:c757873d-ec9a-4326-a141-556f43239520"),
    *[("date", value) for value in ("2024", "2024-02", "2024-02-29", "1905-08-23")],
    *[
        ("dateTime", value)
        for value in ("2018", "1973-06", "2015-02-07T13:28:17-05:00", "2017-01-01T00:00:00.000Z")
    ],
    ("dateTime", "2016-12-31T23:59:60Z"),
    ("instant", "2015-02-07T13:28:17.239+02:00"),
    *[("time", value) for value in ("00:00:00", "23:59:60", "12:30:15.5")],
    *[("base64Binary", value) for value in ("AAAA", "QQ==", "QUI=", "QUJD\nREVG")],
    *[
        ("xhtml", DIV.format(inner))
        for inner in ("a", "<p>a <b>b</b></p>", "<img src='#a' alt='a'/>", "&lt;")
    ],
]

BAD: list[tuple[str, Any]] = [
    *[("boolean", value) for value in ("true", 0, 1, "True", None)],
    *[("integer", value) for value in (1.5, "1", True, 2147483648, -2147483649)],
    *[("unsignedInt", value) for value in (-1, "0", 1.0)],
    *[("positiveInt", value) for value in (0, -1)],
    *[("integer64", value) for value in (1, "01", "9223372036854775808")],
    *[("decimal", value) for value in ("1.5", True, float("nan"), float("inf"), Decimal("NaN"))],
    *[("string", value) for value in ("", " ", "\n", 5, "a\x00b")],
    *[("code", value) for value in ("", " a", "a ", "a  b", "a\tb", "a\n")],
    *[("id", value) for value in ("", "a_b", "x" * 65, "a b", "ü")],
    *[
        ("uri", value)
        for value in ("", "a b", "urn:uuid:C757873D-EC9A-4326-A141-556F43239520", "urn:oid:3.1")
    ],
    *[("oid", value) for value in ("1.2.3", "urn:oid:1.02")],
    *[("uuid", value) for value in ("c757873d-ec9a-4326-a141-556f43239520", "urn:uuid:1")],
    *[
        ("date", value)
        for value in ("2024-13", "2023-02-29", "2024-1-1", "24", "2024-01-01T00:00:00Z", "0000")
    ],
    *[("dateTime", value) for value in ("2024-01-01T10:00", "2024-01-01T10:00:00", "2024-01T10:00:00Z")],
    *[
        ("dateTime", value)
        for value in ("2024-01-01T24:00:00Z", "2024-01-01 10:00:00Z", "2024-02-30T10:00:00Z")
    ],
    *[("instant", value) for value in ("2015", "2015-02-07", "2015-02-07T13:28:17")],
    *[("time", value) for value in ("12:30", "24:00:00", "12:60:00", "12:30:15Z")],
    *[("base64Binary", value) for value in ("A", "A===", "AAAAA", "AA*A", "")],
    *[
        ("xhtml", value)
        for value in ("plain", "<div>a</div>", DIV.format("<p>"), DIV.format("<script>a</script>"))
    ],
    *[("xhtml", DIV.format(inner)) for inner in ("<p onclick='a'>b</p>", "&nbsp;", "<form/>")],
]


@pytest.mark.parametrize(("kind", "value"), GOOD)
def test_good(kind: str, value: Any) -> None:
    assert primitive_check(kind)(value) is None


@pytest.mark.parametrize(("kind", "value"), BAD)
def test_bad(kind: str, value: Any) -> None:
    assert primitive_check(kind)(value)


def test_long_string_is_refused() -> None:
    assert primitive_check("string")("a" * (1024 * 1024)) is None
    assert primitive_check("string")("a" * (1024 * 1024 + 1))


def test_xhtml_entities_and_document_types_are_not_followed() -> None:
    bomb = '<!DOCTYPE d [<!ENTITY a "aaaa">]><div xmlns="http://www.w3.org/1999/xhtml">&a;</div>'
    assert wrong_xhtml(bomb)


def test_empty_narrative_has_no_content() -> None:
    assert not has_content(DIV.format(" "))
    assert has_content(DIV.format("a"))
    assert has_content(DIV.format("<img src='a'/>"))
