"""What is wrong with profiles themselves: each fault a small profile, named after what it breaks.

Source: FHIR R4, https://hl7.org/fhir/R4/profiling.html and https://hl7.org/fhir/R4/elementdefinition.html.
The profiles that HL7 publishes with R4 and R5 serve as the other side: almost none may be found faulty.
"""

from typing import Any

import pytest
from check_helpers import PROFILE, profile

from converter.check import Definitions, check_definitions
from converter.check.profiles import _of_tree
from converter.check.snapshot import tree_of

Json = dict[str, Any]
SITE = "https://site.example/fhir/StructureDefinition"
R4 = "http://hl7.org/fhir/StructureDefinition"


def element(identifier: str, **more: Any) -> Json:
    path = ".".join(part.partition(":")[0] for part in identifier.split("."))
    _, _, name = identifier.rpartition(".")[2].partition(":")
    return {"id": identifier, "path": path, **({"sliceName": name} if name else {}), **more}


def faults(*definitions: Json) -> list[tuple[str, str | None]]:
    found = check_definitions(Definitions(definitions))
    return [(one.code, one.path) for one in found if one.severity == "error" and one.rule == PROFILE]


def reference(target: str) -> Json:
    return {"code": "Reference", "targetProfile": [f"{R4}/{target}"]}


@pytest.mark.parametrize(
    ("stated", "code"),
    [
        (element("Observation.subject", type=[reference("Medication")]), "profile-contradiction"),
        (element("Observation.subject", max="*"), "profile-contradiction"),
        (element("Observation.code", min=0), "profile-contradiction"),
        (element("Observation.subject", type=[{"code": "Quantity"}]), "profile-contradiction"),
        (element("Observation.colour", min=1), "profile-contradiction"),
        (element("Observation.status", fixedString="final"), "value-impossible"),
        (element("Observation.status", fixedCode="done"), "value-impossible"),
        (
            element("Observation.subject", binding={"strength": "example"}, patternCode="a"),
            "value-impossible",
        ),
    ],
)
def test_one_faulty_element(stated: Json, code: str) -> None:
    assert code in [one for one, _ in faults(profile(element("Observation"), stated))]


@pytest.mark.parametrize(
    "stated",
    [
        element("Observation.subject", type=[reference("Patient")]),
        element("Observation.status", fixedCode="final"),
        element("Observation.value[x]", type=[{"code": "integer"}], fixedInteger=1),
        element("Observation.code", min=1, max="1", patternCodeableConcept={"text": "a"}),
    ],
)
def test_one_good_element(stated: Json) -> None:
    assert faults(profile(element("Observation"), stated)) == []


def test_elements_stand_in_the_order_of_their_base() -> None:
    note, status = element("Observation.note", min=1), element("Observation.status", fixedCode="final")
    assert faults(profile(element("Observation"), status, note)) == []
    assert faults(profile(element("Observation"), note, status)) == [("element-order", "Observation.status")]


def test_slices_begin_the_order_anew() -> None:
    slicing = {"discriminator": [{"type": "exists", "path": "interpretation"}], "rules": "open"}
    parts = [
        element("Observation.component", slicing=slicing),
        element("Observation.component:with"),
        element("Observation.component:with.interpretation", min=1),
        element("Observation.component:without"),
        element("Observation.component:without.value[x]", min=1),
        element("Observation.component:without.interpretation", max="0"),
    ]
    assert faults(profile(element("Observation"), *parts)) == []


def test_a_profile_describes_the_type_of_its_base() -> None:
    wrong = profile(element("Observation.status"), base=f"{R4}/Patient")
    assert ("profile-type", "Observation") in faults(wrong)


def test_support_is_not_taken_back() -> None:
    asks = profile(element("Observation.status", mustSupport=True), url=f"{SITE}/asks")
    back = profile(element("Observation.status", mustSupport=False), base=f"{SITE}/asks")
    assert faults(asks, back) == [("profile-contradiction", "Observation.status")]


def test_a_circle_of_bases_is_said() -> None:
    one = profile(element("Observation.status"), base=f"{SITE}/other")
    other = profile(element("Observation.status"), base=PROFILE, url=f"{SITE}/other")
    found = check_definitions(Definitions([one, other]))
    assert "base-circular" in [problem.code for problem in found]


KNOWN = {
    "R4": {
        "codesystem-history",  # asks for parts of an extension part that may have none
        "picoelement",  # the same
        "familymemberhistory-genetic",  # slices without a rule that tells them apart
    },
    "R5": {
        "codesystem-history",
        "dosage-conditions",  # the same
        "dosage-minimumGapBetweenDose",  # the same
        "batch-bundle",  # states a type of bundle that R5 does not have
        "ebmrecommendation",  # speaks of elements of another release
        "example-composition",  # slices without a code
        "subscription-notification-bundle",  # slices by the number of an entry
    },
}
"""Profiles published by HL7 that are faulty, with the reason."""


@pytest.mark.parametrize("release", ["R4", "R5"])
def test_almost_no_published_profile_is_faulty(release: str) -> None:
    library = Definitions(()).library(release)
    trees = [tree for url in library.base_canonicals() if (tree := tree_of(library, url))]
    faulty = {t.url for t in trees if any(one.severity == "error" for one in _of_tree(library, t))}
    assert len(trees) > 600
    assert {url.rpartition("/")[2] for url in faulty} == KNOWN[release]
