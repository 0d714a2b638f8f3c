"""The program with its version and vocabulary as a Device: the author of summaries and abnormalities."""

from typing import Any

from converter.fhir.context import Context, device_uuid
from converter.fhir.narrative import narrative
from converter.fhir.terms import known_term
from converter.fhir.text import fhir_string


def program_device(context: Context) -> dict[str, Any]:
    """The Device; the same program and vocabulary always give the same one."""
    reading = context.reading
    uuid = device_uuid(reading)
    name, _, version = reading.program.partition(" ")
    text = narrative([f"The program {reading.program} with the vocabulary {reading.vocabulary}."])
    resource = context.head("Device", uuid, "reflex-reader", text)
    resource["identifier"] = context.identifiers("Device", uuid)
    resource["status"] = "active"
    resource["deviceName"] = [{"name": fhir_string(name) or "plexor", "type": "user-friendly-name"}]
    resource["type"] = {"text": "Software that reads reflex findings from clinical notes"}
    versions = (("program", version), ("vocabulary", reading.vocabulary))
    resource["version"] = [
        {"type": known_term(context.base, "device-part", part), "value": value}
        for part, text in versions
        if (value := fhir_string(text)) is not None
    ]
    return resource if resource["version"] else {k: v for k, v in resource.items() if k != "version"}
