"""No words of a note in what is said about inputs, whatever is wrong with them."""

import base64
import json
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from note_files import codes, read, write

VISITS = Path(__file__).parents[2] / "fixtures" / "sources"
WORDS = "velvet marmot"
"""Words that stand in the notes here and may stand in no message."""

NOTE = f"Knee jerks 2+, {WORDS} asleep on the left"
PACKED = base64.b64encode(NOTE.encode()).decode()


def said(*inputs: Path) -> list[str]:
    """All that is said about inputs; there must be something."""
    _, troubles = read(*inputs)
    assert troubles
    return [f"{one.message} {one.hint} {one.path} {one.expected}" for one in troubles]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", f'id,text,authored\nA,2031-01-01,"{NOTE}"\n'),  # columns shifted by one
        ("a.csv", f'id,text,age\nA,2031-01-01,"{NOTE}"\n'),
        ("a.csv", f'id,text,birth_date\nA,2031-01-01,"{NOTE}"\n'),
        ("a.csv", f'A,"{NOTE}",P1\nB,"{NOTE} again",P2\n'),  # no header
        ("a.csv", f"id,text\nA,{NOTE}\n"),  # not quoted
        ("a.csv", f'id,text\nA,"{NOTE}" and\n'),
        ("a.tsv", f"A\t{NOTE}\n"),
        ("a.jsonl", f'{{"id": "A", "text": "{NOTE}\n'),
        ("a.jsonl", f'{{"id": "A", "{NOTE}": 1}}\n'),
        ("a.jsonl", json.dumps({"id": "A", "text": "KJ 2+", "authored": NOTE})),
        ("a.hl7", f"PID|1\rOBX|1|TX|X||{NOTE}\r"),
        ("a.hl7", f"MSH|^~\\&|A|B|C|D|{NOTE}||ORU^R01|M1|P|2.5\r{NOTE}\rOBX|1|TX|X||KJ 2+\r"),
        ("a.hl7", f"MSH|^~\\&|A|B|C|D|2031||ORU^R01|M1|P|2.5\rOBX|1|ED|X||^{NOTE}^^Base64^{PACKED}\r"),
        ("a.xml", f"<ClinicalDocument><text>{NOTE}"),
        ("a.xml", f'<?xml version="1.0"?><note>{NOTE}</note>'),
        ("a.json", json.dumps({"resourceType": NOTE, "text": NOTE})),
        ("a.json", json.dumps({"resourceType": "Bundle", "entry": [{"resource": {"id": NOTE}}]})),
        (
            "a.json",
            json.dumps(
                {
                    "resourceType": "DocumentReference",
                    "content": [{"attachment": {"contentType": NOTE, "data": "JVBERi0="}}],
                }
            ),
        ),
        ("a.rtf", f"{{\\rtf1 {NOTE}"),
        ("a.html", f"<html><body><p>{NOTE}<script>{NOTE}"),
    ],
)
def test_broken_notes_are_said_without_their_words(tmp_path: Path, name: str, content: str) -> None:
    assert WORDS.split()[0] not in " ".join(said(write(tmp_path / name, content)))


def test_a_date_that_is_none_is_still_shown(tmp_path: Path) -> None:
    file = write(tmp_path / "a.csv", "id,text,authored\nA,KJ 2+,2023-02-30\n")
    assert "'2023-02-30' is not a date" in said(file)[0]


def test_names_of_columns_are_still_shown(tmp_path: Path) -> None:
    told = said(write(tmp_path / "a.csv", "NOTE_ID,NOTE_TEXT\nA,KJ 2+\n"))
    assert "Its columns are: NOTE_ID, NOTE_TEXT." in told[0]


def with_words(name: str) -> bytes:
    """One of the fixtures, its words about reflexes followed by ours."""
    text = (VISITS / name).read_bytes().decode("utf-8")
    marked = re.sub(r"(Power full|Tone normal|Biceps)", rf"\1 {WORDS}", text)
    assert WORDS in marked
    return marked.encode()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=200, deadline=None)
@given(
    name=st.sampled_from(["visit.cda.xml", "visit.fhir.json", "visit.html", "visit.rtf", "visit.mdm.hl7"]),
    at=st.floats(0, 1),
    put=st.binary(max_size=4),
    cut=st.integers(0, 60),
)
def test_damaged_files_are_said_without_their_words(
    tmp_path: Path, name: str, at: float, put: bytes, cut: int
) -> None:
    content = with_words(name)
    place = int(at * len(content))
    _, troubles = read(write(tmp_path / name, content[:place] + put + content[place + cut :]))
    for one in troubles:
        assert WORDS.split()[1] not in f"{one.message} {one.hint} {one.path}", codes(troubles)
