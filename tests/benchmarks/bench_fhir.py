"""FHIR JSON text a second, beside `orjson` on the same ready-made dicts, and beside `fhir.resources` models.

Ours goes from findings to text: it makes the dicts, with identifiers, narrative and the words of the note,
and writes them. `orjson` writes the dicts that ours made, a Decimal as text. The models are built from
the same dicts and written.
"""

import tempfile
from collections.abc import Iterator
from pathlib import Path

from material import notes_file, passages
from measuring import Figure, at_least, at_most, machine, side_by_side

from converter.api import assess, convert, open_session, read_notes
from converter.fhir import json_text
from converter.sources import note_from_text

MOST = 8.0
LEAST_BESIDE_MODELS = 10.0


def figures() -> Iterator[Figure]:
    """All figures of FHIR."""
    import orjson
    from fhir.resources.R4B.observation import Observation

    session = open_session(run="benchmark", time="2031-05-06T00:00:00Z")
    with tempfile.TemporaryDirectory() as folder:
        notes = [note_from_text(text, f"n{i}", "urn:oid:2.999.1")
                 for i, text in enumerate(passages(notes_file(Path(folder))))]  # fmt: skip
    read = [(note, reading, assess(note, reading, session)) for note, reading in read_notes(notes, session)]
    made = [one for note, reading, found in read for one in convert(note, reading, found, session)[0]]
    findings = [one for one in made if one["resourceType"] == "Observation"]

    def ours() -> None:
        for note, reading, found in read:
            for one in convert(note, reading, found, session)[0]:
                json_text(one)

    def models() -> None:
        for one in findings:
            Observation.model_validate(one).model_dump_json()

    whole, ready, text, built, written = side_by_side(
        ours,
        lambda: [orjson.dumps(one, default=str) for one in made],
        lambda: [json_text(one) for one in made],
        models,
        lambda: [json_text(one) for one in findings],
    )  # fmt: skip
    yield at_most("findings to FHIR JSON text", whole, ready, "(orjson, the same dicts ready-made)", MOST)
    yield at_most("FHIR dicts to JSON text", text, ready, "(orjson, the same dicts)", MOST)
    rate, count = len(made) / whole, len(findings)
    yield at_least(
        "findings to FHIR JSON text", rate, count / built, "fhir.resources models", "resources",
        LEAST_BESIDE_MODELS,
    )  # fmt: skip
    yield at_least(
        "FHIR dicts to JSON text", count / written, count / built, "fhir.resources models", "resources",
        LEAST_BESIDE_MODELS,
    )  # fmt: skip


if __name__ == "__main__":
    print(machine())
    for figure in figures():
        print(figure)
