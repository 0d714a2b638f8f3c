"""Whether a JSON value is a well-formed FHIR primitive.

Takes a type name; gives a function from value to None or a short sentence that says what was expected.
Source of the patterns: FHIR R4, https://hl7.org/fhir/R4/datatypes.html (R5 adds `integer64`).
"""

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

from converter.check.xhtml import wrong_xhtml

Fault = str | None
Check = Callable[[Any], Fault]

_DATE = re.compile(r"(\d{4})(?:-(0[1-9]|1[0-2])(?:-(0[1-9]|[12]\d|3[01]))?)?")
_TIME = re.compile(r"([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d+)?")
_ZONE = re.compile(r"Z|[+-]((0\d|1[0-3]):[0-5]\d|14:00)")
_BASE64 = re.compile(r"(\s*([0-9a-zA-Z+/]\s*){4})*(\s*([0-9a-zA-Z+/]\s*){2}(==|[0-9a-zA-Z+/]\s*=)\s*)?")
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_OID = re.compile(r"[0-2](\.(0|[1-9]\d*))+")
_DECIMAL = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?([eE][+-]?\d+)?")
_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:")
_SPACE = re.compile(r"\s")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]")

_INTEGERS = {
    "integer": (-(2**31), 2**31 - 1, "a whole number from -2147483648 to 2147483647"),
    "unsignedInt": (0, 2**31 - 1, "a whole number from 0 to 2147483647"),
    "positiveInt": (1, 2**31 - 1, "a whole number from 1 to 2147483647"),
}
_LONGEST_STRING = 1024 * 1024


def primitive_check(type_name: str) -> Check:
    """The check of one primitive type; of a type unknown here only that the value is a primitive."""
    if type_name in _INTEGERS:
        return _integer_check(*_INTEGERS[type_name])
    return _CHECKS.get(type_name, _any)


def _integer_check(least: int, most: int, expected: str) -> Check:
    def check(value: Any) -> Fault:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            return expected
        return None

    return check


def _boolean(value: Any) -> Fault:
    return None if isinstance(value, bool) else "true or false, without quotes"


def _decimal(value: Any) -> Fault:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return "a number, without quotes"
    finite = (
        value.is_finite() if isinstance(value, Decimal) else abs(value) != float("inf") and value == value
    )
    return None if finite else "a finite number"


def _integer64(value: Any) -> Fault:
    # R5 writes it as a JSON string, so that no reader rounds it
    if (
        isinstance(value, str)
        and re.fullmatch(r"0|-?[1-9][0-9]{0,18}", value)
        and -(2**63) <= int(value) < 2**63
    ):
        return None
    return "a whole number of 64 bits, in quotes"


def _text_check(test: Callable[[str], bool], expected: str) -> Check:
    def check(value: Any) -> Fault:
        if not isinstance(value, str):
            return f"{expected}, in quotes"
        return None if value and test(value) else expected

    return check


def _any(value: Any) -> Fault:
    return "a single value" if isinstance(value, dict | list) else None


def _is_string(text: str) -> bool:
    if not text.strip() or _CONTROL.search(text):
        return False
    return len(text.encode("utf-8", "replace")) <= _LONGEST_STRING


def _is_code(text: str) -> bool:
    return text == " ".join(text.split())


def _is_uri(text: str) -> bool:
    if _SPACE.search(text):
        return False
    if text.startswith("urn:uuid:"):
        return bool(_UUID.fullmatch(text[9:]))
    if text.startswith("urn:oid:"):
        return bool(_OID.fullmatch(text[8:]))
    return True


def _is_canonical(text: str) -> bool:
    return _is_uri(text) and (text.startswith("#") or _SCHEME.match(text) is not None)


def _is_date(text: str) -> bool:
    match = _DATE.fullmatch(text)
    if not match:
        return False
    year, month, day = (int(part or 1) for part in match.groups())
    try:
        date(year, month, day)
    except ValueError:
        return False
    return True


def _is_date_time(text: str) -> bool:
    day, separator, clock = text.partition("T")
    return _is_date(day) and (not separator or (len(day) == 10 and _is_clock_with_zone(clock)))


def _is_instant(text: str) -> bool:
    day, _, clock = text.partition("T")
    return len(day) == 10 and _is_date(day) and _is_clock_with_zone(clock)


def _is_clock_with_zone(clock: str) -> bool:
    time = _TIME.match(clock)
    return time is not None and _ZONE.fullmatch(clock, time.end()) is not None


_CHECKS: dict[str, Check] = {
    "boolean": _boolean,
    "decimal": _decimal,
    "integer64": _integer64,
    "string": _text_check(_is_string, "text with at least one visible character"),
    "markdown": _text_check(_is_string, "text with at least one visible character"),
    "code": _text_check(_is_code, "a code without leading, trailing or double spaces"),
    "id": _text_check(
        lambda text: bool(re.fullmatch(r"[A-Za-z0-9.-]{1,64}", text)),
        "an id of 1 to 64 letters, digits, `-` and `.`",
    ),
    "uri": _text_check(_is_uri, "a URI without spaces; a UUID in lower case, an OID in its own form"),
    "url": _text_check(_is_uri, "a URL without spaces"),
    "canonical": _text_check(_is_canonical, "an absolute URL without spaces, or `#` and an id"),
    "oid": _text_check(lambda t: t.startswith("urn:oid:") and _is_uri(t), "an OID as urn:oid:1.2.3"),
    "uuid": _text_check(
        lambda t: t.startswith("urn:uuid:") and _is_uri(t), "a UUID as urn:uuid:, in lower case"
    ),
    "date": _text_check(_is_date, "a date as YYYY, YYYY-MM or YYYY-MM-DD"),
    "dateTime": _text_check(
        _is_date_time, "a date, or a date and time with seconds and zone as YYYY-MM-DDThh:mm:ss+zz:zz"
    ),
    "instant": _text_check(_is_instant, "a date and time with seconds and zone as YYYY-MM-DDThh:mm:ss+zz:zz"),
    "time": _text_check(lambda text: bool(_TIME.fullmatch(text)), "a time as hh:mm:ss"),
    "base64Binary": _text_check(lambda text: bool(_BASE64.fullmatch(text)), "base64 text of complete groups"),
    "xhtml": _text_check(
        lambda text: wrong_xhtml(text) is None, "well-formed XHTML in one <div> of its namespace"
    ),
}
