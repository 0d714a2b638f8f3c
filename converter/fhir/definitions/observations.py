"""Profiles of the finding, the exam panel and the abnormality."""

from typing import Any

from converter.fhir.definitions.elements import bound, element, rule, sliced, typed
from converter.fhir.definitions.structure import structure
from converter.fhir.terms import HPO, UCUM

_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
_POSITION = "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"

_CONCEPTS = (
    # component, binding strength
    ("scale", "grading-scale", "required"),
    ("scale-basis", "scale-basis", "required"),
    ("plus-sign", "plus-sign", "required"),
    ("level", "level", "required"),
    ("descriptor", "descriptor", "required"),
    ("plantar-response", "plantar-response", "extensible"),
    ("clonus-duration", "clonus-duration", "required"),
    ("comparison", "comparison", "extensible"),
    ("quality", "quality", "extensible"),
    ("reinforcement", "reinforcement", "extensible"),
    ("manoeuvre", "manoeuvre", "extensible"),
    ("technique", "technique", "extensible"),
    ("variant", "variant", "extensible"),
    ("nerve-root", "nerve-root", "extensible"),
    ("certainty", "certainty", "required"),
)


def observation_profiles(base: str) -> list[dict[str, Any]]:
    """The three Observation profiles."""
    return [_finding(base), _exam(base), _abnormality(base)]


def _finding(base: str) -> dict[str, Any]:
    elements = [
        element(
            "Observation", short="One reflex finding, as the note says it", constraint=_finding_rules(base)
        ),
        element("Observation.extension", slicing=sliced("value", "url"), min=1),
        element(
            "Observation.extension:sourceWords",
            min=1,
            max="1",
            type=typed("Extension", f"{base}/StructureDefinition/source-words"),
            mustSupport=True,
        ),
        element("Observation.extension:bodyPosition", min=0, max="1", type=typed("Extension", _POSITION)),
        element("Observation.identifier", min=1, mustSupport=True),
        element("Observation.status", mustSupport=True),
        *_categories(base),
        element("Observation.code", mustSupport=True, binding=bound(f"{base}/ValueSet/reflex")),
        element("Observation.subject", type=typed("Reference", targets=("Patient",)), mustSupport=True),
        element("Observation.effective[x]", type=typed("dateTime"), mustSupport=True),
        element("Observation.value[x]", type=typed("CodeableConcept"), mustSupport=True),
        element("Observation.value[x].coding", binding=bound(f"{base}/ValueSet/finding-value")),
        element("Observation.dataAbsentReason", binding=bound(f"{base}/ValueSet/no-value-reason")),
        *_body_site(base),
        element("Observation.derivedFrom", min=1, mustSupport=True),
        element("Observation.component", slicing=sliced("pattern", "code")),
        *_numbers(base),
        *(one for name, values, strength in _CONCEPTS for one in _concept(base, name, values, strength)),
        element("Observation.component:denied", min=0, max="1"),
        _component_code(base, "denied"),
        element("Observation.component:denied.value[x]", min=1, type=typed("boolean")),
    ]
    description = "One reflex finding, tied to the words of the note that it was read from."
    return structure(base, "reflex-finding", "Reflex finding", description, "Observation", elements)


def _finding_rules(base: str) -> list[dict[str, Any]]:
    codes = f"{base}/CodeSystem/finding-component"
    grade = f"component.where(code.coding.where(system='{codes}' and code='grade-ordinal').exists())"
    low = grade.replace("grade-ordinal", "grade-low")
    high = grade.replace("grade-ordinal", "grade-high")
    scale = grade.replace("grade-ordinal", "scale")
    graded = f"value.coding.where(system.startsWith('{base}/CodeSystem/scale-')).exists()"
    side = f"bodySite.extension.where(url='{base}/StructureDefinition/laterality').value.coding"
    return [
        rule(
            "reflex-graded",
            "A grade on a scale also stands as a number",
            f"{graded} implies {grade}.exists()",
        ),
        rule(
            "reflex-scale",
            "A number has its scale",
            f"({grade}.exists() or {low}.exists() or {high}.exists()) implies {scale}.exists()",
        ),
        rule(
            "reflex-range",
            "The lower end of a range lies below its upper end",
            f"({low}.exists() and {high}.exists()) implies {low}.value.value < {high}.value.value",
        ),
        *(
            rule(
                f"reflex-side-{name}",
                f"A code that names the side ({name}) has that side in bodySite",
                f"code.coding.where(code.endsWith('-{name}')).exists() implies "
                f"{side}.where(code='{name}').exists()",
            )
            for name in ("left", "right", "both")
        ),
        rule(
            "reflex-said",
            "A finding says something: a value, the reason for none, or a component",
            "value.exists() or dataAbsentReason.exists() or component.exists()",
        ),
    ]


def _categories(base: str) -> list[dict[str, Any]]:
    kinds = f"{base}/CodeSystem/observation-kind"
    return [
        element("Observation.category", slicing=sliced("value", "coding.system"), min=1),
        element("Observation.category:exam", min=1, max="1"),
        element("Observation.category:exam.coding", min=1, max="1"),
        element("Observation.category:exam.coding.system", min=1, fixedUri=_CATEGORY),
        element("Observation.category:exam.coding.code", min=1, fixedCode="exam"),
        element(
            "Observation.category:kind", min=0, max="1", binding=bound(f"{base}/ValueSet/observation-kind")
        ),
        element("Observation.category:kind.coding", min=1, max="1"),
        element("Observation.category:kind.coding.system", min=1, fixedUri=kinds),
        element("Observation.category:kind.coding.code", min=1),
    ]


def _body_site(base: str) -> list[dict[str, Any]]:
    return [
        element("Observation.bodySite.extension", slicing=sliced("value", "url")),
        element(
            "Observation.bodySite.extension:laterality",
            min=0,
            max="1",
            type=typed("Extension", f"{base}/StructureDefinition/laterality"),
        ),
    ]


def _numbers(base: str) -> list[dict[str, Any]]:
    """Grades as scores; beats of clonus as a number or a range, or as written where they are neither."""
    found = []
    for name in ("grade-ordinal", "grade-low", "grade-high"):
        found += [
            element(f"Observation.component:{name}", min=0, max="1"),
            _component_code(base, name),
            element(
                f"Observation.component:{name}.value[x]",
                min=1,
                type=typed("Quantity"),
                patternQuantity={"system": UCUM, "code": "{score}"},
            ),
        ]
    beats = [{"code": code} for code in ("Quantity", "string", "Range")]
    return [
        *found,
        element("Observation.component:clonus-beats", min=0, max="1"),
        _component_code(base, "clonus-beats"),
        element("Observation.component:clonus-beats.value[x]", min=1, type=beats),
    ]


def _concept(base: str, name: str, values: str, strength: str, most: str = "1") -> list[dict[str, Any]]:
    return [
        element(f"Observation.component:{name}", min=0, max=most),
        _component_code(base, name),
        element(
            f"Observation.component:{name}.value[x]",
            min=1,
            type=typed("CodeableConcept"),
            binding=bound(f"{base}/ValueSet/{values}", strength),
        ),
    ]


def _component_code(base: str, name: str) -> dict[str, Any]:
    pattern = {"coding": [{"system": f"{base}/CodeSystem/finding-component", "code": name}]}
    return element(f"Observation.component:{name}.code", patternCodeableConcept=pattern)


def _exam(base: str) -> dict[str, Any]:
    code = {"coding": [{"system": f"{base}/CodeSystem/exam", "code": "reflex-examination"}]}
    elements = [
        element("Observation", short="One reflex examination: a panel of findings"),
        element("Observation.identifier", min=1, mustSupport=True),
        *_categories(base),
        element("Observation.code", patternCodeableConcept=code),
        element("Observation.subject", type=typed("Reference", targets=("Patient",)), mustSupport=True),
        element("Observation.effective[x]", type=typed("dateTime"), mustSupport=True),
        element("Observation.value[x]", max="0"),
        element(
            "Observation.hasMember",
            min=1,
            type=typed("Reference", targets=("Observation",)),
            mustSupport=True,
        ),
        element("Observation.derivedFrom", min=1),
        element("Observation.component", max="0"),
    ]
    description = "One examiner's reflex findings at one time. It has members and no value."
    return structure(base, "reflex-exam", "Reflex examination", description, "Observation", elements)


def _abnormality(base: str) -> dict[str, Any]:
    elements = [
        element("Observation", short="What a rule found in reflex findings"),
        element("Observation.identifier", min=1, mustSupport=True),
        element("Observation.status", fixedCode="preliminary"),
        *_categories(base),
        element("Observation.code", mustSupport=True),
        element("Observation.code.coding", slicing=sliced("value", "system"), min=1),
        element(
            "Observation.code.coding:abnormality",
            min=1,
            max="1",
            binding=bound(f"{base}/ValueSet/abnormality"),
        ),
        element(
            "Observation.code.coding:abnormality.system", min=1, fixedUri=f"{base}/CodeSystem/abnormality"
        ),
        element("Observation.code.coding:abnormality.code", min=1),
        element("Observation.subject", type=typed("Reference", targets=("Patient",)), mustSupport=True),
        element("Observation.effective[x]", type=typed("dateTime"), mustSupport=True),
        element("Observation.value[x]", min=1, type=typed("boolean"), fixedBoolean=True),
        element("Observation.note", min=1),
        *_body_site(base),
        element("Observation.method", min=1, short="The rule and its source"),
        element("Observation.device", min=1, type=typed("Reference", targets=("Device",))),
        element("Observation.derivedFrom", mustSupport=True),
        *_abnormality_components(base),
    ]
    description = (
        "An abnormality that a rule found, derived from the findings it rests on. It is not a diagnosis; a "
        "licensed clinician confirms it under local policy."
    )
    return structure(base, "reflex-abnormality", "Reflex abnormality", description, "Observation", elements)


def _abnormality_components(base: str) -> list[dict[str, Any]]:
    return [
        element("Observation.component", slicing=sliced("pattern", "code")),
        *_concept(base, "reflex", "reflex", "required", "*"),
        *_concept(base, "level", "level", "required"),
        element("Observation.component:difference", min=0, max="1"),
        _component_code(base, "difference"),
        element(
            "Observation.component:difference.value[x]",
            min=1,
            type=typed("Quantity"),
            patternQuantity={"system": UCUM, "code": "{score}"},
        ),
        *_modifier(base),
        *_concept(base, "certainty", "certainty", "required"),
    ]


def _modifier(base: str) -> list[dict[str, Any]]:
    name = "Observation.component:clinical-modifier"
    return [
        element(name, min=0, max="*"),
        _component_code(base, "clinical-modifier"),
        element(
            f"{name}.value[x]",
            min=1,
            type=typed("CodeableConcept"),
            patternCodeableConcept={"coding": [{"system": HPO}]},
        ),
    ]
