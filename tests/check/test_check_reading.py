"""Reading resources: JSON, NDJSON, XML, gzip, folders, patterns, standard input, and what is no resource."""

import gzip
import io
import json
import os
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from check_helpers import base_checker, observation, read_one
from mutations import good_resources

from converter.check import Definitions, read_resources
from converter.check.xml_input import resource_from_xml
from converter.model import Diagnostic

Json = dict[str, Any]
SMALL = json.dumps(observation())


def codes(found: list[Any]) -> list[str]:
    return [one.code for one in found if isinstance(one, Diagnostic)]


def places(found: list[Any]) -> list[str]:
    return [one[0] for one in found if isinstance(one, tuple)]


def test_a_file_a_folder_and_a_pattern(tmp_path: Path) -> None:
    (tmp_path / "b.json").write_text(SMALL, encoding="utf-8")
    (tmp_path / "a.json").write_text("\ufeff" + SMALL, encoding="utf-8")
    (tmp_path / "note.txt").write_text("not FHIR", encoding="utf-8")
    both = [str(tmp_path / "a.json"), str(tmp_path / "b.json")]
    assert places([*read_resources([tmp_path / "b.json"])]) == both[1:]
    assert places([*read_resources([tmp_path])]) == both
    assert places([*read_resources([str(tmp_path / "*.json")])]) == both


def test_lines_are_read_one_by_one_with_their_number(tmp_path: Path) -> None:
    file = tmp_path / "many.ndjson"
    file.write_text(f"{SMALL}\n\n{{broken\n[]\n{SMALL}\n", encoding="utf-8")
    found = [*read_resources([file])]
    assert places(found) == [f"{file}:1", f"{file}:5"]
    assert [(one.code, one.line) for one in found if isinstance(one, Diagnostic)] == [
        ("not-json", 3),
        ("not-a-resource", 4),
    ]


def test_long_stream_does_not_wait_for_its_end(tmp_path: Path) -> None:
    file = tmp_path / "long.ndjson"
    with file.open("w", encoding="utf-8") as lines:
        lines.writelines(SMALL + "\n" for _ in range(5000))
    stream = read_resources([file])
    assert isinstance(next(stream), tuple)
    assert sum(1 for _ in stream) == 4999


def test_gzip(tmp_path: Path) -> None:
    (tmp_path / "a.json.gz").write_bytes(gzip.compress(SMALL.encode()))
    (tmp_path / "b.ndjson.gz").write_bytes(gzip.compress(f"{SMALL}\n{SMALL}\n".encode()))
    (tmp_path / "c.json.gz").write_bytes(b"no gzip")
    found = [*read_resources([tmp_path])]
    assert len(places(found)) == 3
    assert codes(found) == ["input-unreadable"]


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "not-json"),
        (b"{", "not-json"),
        (b"\xff\xfe{}", "not-utf-8"),
        (b'{"a": NaN}', "not-json"),
        (b"[1]", "not-a-resource"),
        (b"[" * 100_000, "not-json"),
    ],
)
def test_what_is_no_resource_is_said(tmp_path: Path, content: bytes, code: str) -> None:
    (tmp_path / "a.json").write_bytes(content)
    found = [*read_resources([tmp_path / "a.json"])]
    assert codes(found) == [code]
    assert places(found) == []
    assert str(tmp_path) in found[0].message  # type: ignore[union-attr]


def test_missing_input_is_said(tmp_path: Path) -> None:
    assert (
        codes([*read_resources([tmp_path / "absent.json", str(tmp_path / "*.xml"), tmp_path])])
        == ["input-missing"] * 3
    )


def test_doubled_keys_are_said_and_the_resource_still_comes(tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text(
        '{"resourceType": "Observation", "status": "final", "status": "amended"}'
    )
    found = [*read_resources([tmp_path / "a.json"])]
    assert codes(found) == ["duplicate-key"]
    assert len(places(found)) == 1


def test_decimals_stay_exact(tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text('{"resourceType": "Observation", "valueQuantity": {"value": 1.10}}')
    assert str(read_one(tmp_path / "a.json")[0]["valueQuantity"]["value"]) == "1.10"


@pytest.mark.parametrize(
    ("content", "count"),
    [(SMALL, 1), (json.dumps(observation(), indent=1), 1), (f"{SMALL}\n{SMALL}\n", 2), ("\n" + SMALL, 1)],
)
def test_standard_input(monkeypatch: pytest.MonkeyPatch, content: str, count: int) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content.encode())))
    assert len(places([*read_resources(["-"])])) == count


def test_xml_on_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    document = b'<?xml version="1.0"?><Patient xmlns="http://hl7.org/fhir"><active value="true"/></Patient>'
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(document)))
    assert [one[1] for one in read_resources(["-"]) if isinstance(one, tuple)] == [
        {"resourceType": "Patient", "active": True}
    ]


def from_xml(inner: str, kind: str = "Observation") -> tuple[Json, list[str]]:
    document = f'<{kind} xmlns="http://hl7.org/fhir">{inner}</{kind}>'
    resource, problems = resource_from_xml(document.encode(), Definitions(()).library("R4"))
    return resource, [one.code for one in problems]


@pytest.mark.parametrize(
    ("inner", "expected"),
    [
        ('<status value="final"/>', {"status": "final"}),
        ('<status id="a" value="final"/>', {"status": "final", "_status": {"id": "a"}}),
        ('<valueInteger value="3"/>', {"valueInteger": 3}),
        ('<valueBoolean value="false"/>', {"valueBoolean": False}),
        (
            '<valueQuantity><value value="1.10"/></valueQuantity>',
            {"valueQuantity": {"value": Decimal("1.10")}},
        ),
        (
            '<extension url="https://e.example"><valueString value="a"/></extension>',
            {"extension": [{"url": "https://e.example", "valueString": "a"}]},
        ),
        (
            '<contained><Patient><id value="p"/></Patient></contained>',
            {"contained": [{"resourceType": "Patient", "id": "p"}]},
        ),
        (
            '<category><text value="a"/></category><category><text value="b"/></category>',
            {"category": [{"text": "a"}, {"text": "b"}]},
        ),
        ("<!-- a --><status value='final'/>", {"status": "final"}),
    ],
)
def test_xml_becomes_json(inner: str, expected: Json) -> None:
    resource, problems = from_xml(inner)
    assert problems == []
    assert resource == {"resourceType": "Observation", **expected}


def test_xml_lists_of_primitives_stay_aligned() -> None:
    inner = '<name><given value="a"/><given id="x" value="b"/><given id="y"/></name>'
    resource, _ = from_xml(inner, "Patient")
    assert resource["name"][0] == {"given": ["a", "b", None], "_given": [None, {"id": "x"}, {"id": "y"}]}


@pytest.mark.parametrize(
    ("inner", "code"),
    [
        ('<code><text value="a"/></code><status value="final"/>', "element-order"),
        ('<status value="final"/><status value="final"/>', "too-many"),
        ('<statsu value="final"/>', "element-unknown"),
        ('<status value="final" colour="red"/>', "element-unknown"),
        ('stray<status value="final"/>', "element-unknown"),
        ('<code value="a"/>', "element-unknown"),
        ('<status xmlns="http://other.example" value="a"/>', "element-unknown"),
        ("<contained><Patient/><Patient/></contained>", "wrong-json-type"),
    ],
)
def test_xml_faults(inner: str, code: str) -> None:
    assert from_xml(inner)[1] == [code]


@pytest.mark.parametrize(
    "document",
    [
        "<a",
        "<Observation/>",
        '<Nothing xmlns="http://hl7.org/fhir"/>',
        '<!DOCTYPE a [<!ENTITY b "c">]><Patient xmlns="http://hl7.org/fhir"/>',
        '<!DOCTYPE a SYSTEM "file:///etc/passwd"><Patient xmlns="http://hl7.org/fhir"/>',
    ],
)
def test_xml_that_is_no_resource(tmp_path: Path, document: str) -> None:
    (tmp_path / "a.xml").write_text(document, encoding="utf-8")
    assert codes([*read_resources([tmp_path / "a.xml"])]) == ["not-xml"]


@pytest.mark.parametrize(
    ("inner", "path"),
    [
        # FHIR R4, https://hl7.org/fhir/R4/xml.html and the patterns of https://hl7.org/fhir/R4/datatypes.html
        ("<active/>", "Patient.active"),
        ('<name><id value="a"/><family value="x"/></name>', "Patient.name[0].id"),
        ('<multipleBirthInteger value="01"/>', "Patient.multipleBirth.ofType(integer)"),
        ('<multipleBirthInteger value="+1"/>', "Patient.multipleBirth.ofType(integer)"),
        ('<multipleBirthInteger value=" 1"/>', "Patient.multipleBirth.ofType(integer)"),
    ],
)
def test_xml_values_are_written_as_fhir_writes_them(inner: str, path: str) -> None:
    content = f'<Patient xmlns="http://hl7.org/fhir">{inner}</Patient>'.encode()
    resource, problems = resource_from_xml(content, Definitions(()).library("R4"))
    found = [*problems, *base_checker().check(resource)]
    assert path in [one.path for one in found if one.severity == "error"]


@pytest.mark.parametrize("number", [".5", "007.5", "+1.5", "INF", "NaN", "1.5.1", "1,5"])
def test_xml_decimals_are_written_as_fhir_writes_them(number: str) -> None:
    inner = f'<valueQuantity><value value="{number}"/></valueQuantity>'
    content = f"""<Observation xmlns="http://hl7.org/fhir"><status value="final"/>
        <code><text value="a"/></code>{inner}</Observation>""".encode()
    resource, _ = resource_from_xml(content, Definitions(()).library("R4"))
    found = [one.path for one in base_checker().check(resource) if one.severity == "error"]
    assert "Observation.value.ofType(Quantity).value" in found


def test_our_xml_reads_back_as_our_json() -> None:
    from converter.fhir import xml_text

    for name, resource in good_resources():
        found, problems = resource_from_xml(xml_text(resource).encode(), Definitions(()).library("R4"))
        assert problems == [], name
        assert json.loads(json.dumps(found, default=float)) == json.loads(json.dumps(resource)), name


def test_recorded_conversions(outside: Path) -> None:
    """Source: github FHIR/fhir-test-cases: the same resource in XML and, converted by others, in JSON."""
    compared = 0
    for file in sorted((outside / "hl7cases").glob("*/*.xml")):
        theirs = json.loads(file.with_name(f"{file.name}.json").read_text(encoding="utf-8"))
        ours, _ = read_one(file)
        assert _plain(ours) == _plain(theirs), os.fspath(file)
        compared += 1
    assert compared > 15


def _plain(value: Any) -> Any:
    """A value without comments, narrative and the snapshots that one side leaves out."""
    if isinstance(value, dict):
        skipped = ("fhir_comments", "text", "snapshot", "mapping")
        return {
            key: _plain(one)
            for key, one in value.items()
            if key not in skipped or (key == "text" and isinstance(one, str))
        }
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return float(value) if isinstance(value, Decimal) else value
