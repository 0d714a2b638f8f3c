"""Our XML against the official R4 schema: valid, in its order, and lossless.

Source: FHIR R4 XSD, `fhir-single.xsd`, found through the environment variable PLEXOR_OUTSIDE.
"""

import os
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from fhir_samples import built, finding, graded, observation, options, rendered_notes
from hypothesis import HealthCheck, given, settings
from lxml import etree
from test_fhir_outside import every_kind

from converter.check import read_resources
from converter.fhir import FhirOptions, json_text, transaction, xml_text
from converter.model import Diagnostic

NAMESPACE = "{http://hl7.org/fhir}"


@cache
def schema() -> etree.XMLSchema:
    outside = os.environ.get("PLEXOR_OUTSIDE")
    file = Path(outside or "") / "fhir-examples" / "xsd" / "fhir-single.xsd"
    if not outside or not file.is_file():
        pytest.skip("PLEXOR_OUTSIDE does not lead to the official R4 XSD")
    return etree.XMLSchema(etree.parse(str(file)))


def faults(resource: dict[str, Any]) -> list[str]:
    judge = schema()
    document = etree.fromstring(xml_text(resource).encode("utf-8"))
    return [] if judge.validate(document) else [str(judge.error_log)]


def attributes(element: etree._Element) -> dict[str, str | None]:
    return {str(name): element.get(str(name)) for name in element.keys()}  # noqa: SIM118 - not a dict


def test_every_kind_is_valid_and_in_order() -> None:
    for resource in every_kind():
        assert faults(resource) == []


def test_transaction_is_valid() -> None:
    assert faults(transaction(every_kind(), FhirOptions())) == []


def test_schema_minds_the_order() -> None:
    resource = observation(graded(2))
    moved = {"resourceType": "Observation", "status": resource.pop("status"), **resource}
    assert faults(moved)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_whatever_a_note_says_the_schema_takes_it(resources: list[dict[str, Any]]) -> None:
    for resource in resources:
        assert faults(resource) == []


def test_primitives_extensions_and_ids_are_where_r4_has_them() -> None:
    # FHIR R4, XML format: 2.6.1; the Composition's unknown date is an extension of a primitive without value
    text = xml_text(
        {
            "resourceType": "Observation",
            "id": "a",
            "extension": [{"id": "e1", "url": "https://x.example/e", "valueDecimal": Decimal("2.50")}],
            "_effectiveDateTime": {"extension": [{"url": "https://x.example/u", "valueCode": "unknown"}]},
            "valueBoolean": True,
            "note": [{"text": 'a < b & "c"\nd'}],
        }
    )
    root = etree.fromstring(text.encode())
    extension = root.find(f"{NAMESPACE}extension")
    assert extension is not None
    assert attributes(extension) == {"id": "e1", "url": "https://x.example/e"}
    assert attributes(extension[0]) == {"value": "2.50"}
    assert [attributes(one) for one in root.iterfind(f"{NAMESPACE}id")] == [{"value": "a"}]
    assert [attributes(one) for one in root.iterfind(f"{NAMESPACE}valueBoolean")] == [{"value": "true"}]
    time = root.find(f"{NAMESPACE}effectiveDateTime")
    assert time is not None
    assert attributes(time) == {}
    assert attributes(time[0][0]) == {"value": "unknown"}
    said = root.find(f"{NAMESPACE}note/{NAMESPACE}text")
    assert said is not None
    assert attributes(said) == {"value": 'a < b & "c"\nd'}


def test_summary_without_a_recorded_time_is_valid() -> None:
    for resource in built(graded(2), finding(finding="x", as_written="?"), options=options(recorded=None)):
        assert faults(resource) == []


def test_what_is_written_reads_back(tmp_path: Path) -> None:
    # by the checker's reader, which was written apart from the writer
    for number, resource in enumerate(every_kind()):
        file = tmp_path / f"{number}.xml"
        file.write_text(xml_text(resource), encoding="utf-8")
        (read,) = read_resources([str(file)])
        assert not isinstance(read, Diagnostic)
        assert json_text(read[1]) == json_text(resource)
