"""Profiles that FHIR itself lays on a resource by what it holds: vital signs.

Source: FHIR R4, https://hl7.org/fhir/R4/observation-vitalsigns.html: "If implementations follow this
guidance and use the vital sign codes, they SHALL conform to the vital signs profiles"; the LOINC codes
are that page's. The SNOMED CT codes for the same observations are common practice, no source.
"""

from typing import Any

from converter.check.library import BASE
from converter.model import Diagnostic

Json = dict[str, Any]

_LOINC = {
    "85353-1": "vitalspanel",
    "9279-1": "resprate",
    "8867-4": "heartrate",
    "2708-6": "oxygensat",
    "59408-5": "oxygensat",
    "8310-5": "bodytemp",
    "8302-2": "bodyheight",
    "9843-4": "headcircum",
    "29463-7": "bodyweight",
    "39156-5": "bmi",
    "85354-9": "bp",
}
_SNOMED = {
    "86290005": "resprate",
    "364075005": "heartrate",
    "386725007": "bodytemp",
    "276885007": "bodytemp",
    "27113001": "bodyweight",
    "60621009": "bmi",
    "75367002": "bp",
}
_SYSTEMS = {"http://loinc.org": _LOINC, "http://snomed.info/sct": _SNOMED}


def is_lenient(fault: Diagnostic, path: str) -> bool:
    """Whether a fault against an implied profile is said as a warning: the unit of a component.

    R4 binds the components of every vital sign to its units of vital signs, in which those of the oxygen
    given beside a saturation, for one, are missing; HL7's recorded outcomes warn of such units.
    """
    return fault.code == "code-not-in-value-set" and (fault.path or "").startswith(f"{path}.component[")


def implied_profiles(resource: Json) -> tuple[str, ...]:
    """Addresses of the vital signs profiles that an Observation's codes call for; mostly none."""
    if resource.get("resourceType") != "Observation":
        return ()
    code = resource.get("code")
    codings = code.get("coding") if isinstance(code, dict) else None
    found: dict[str, None] = {}
    for coding in codings if isinstance(codings, list) else ():
        if isinstance(coding, dict):
            system, value = coding.get("system"), coding.get("code")
            name = _SYSTEMS.get(str(system), {}).get(str(value))
            if name:
                found[BASE + name] = None
    return tuple(found)
