"""Laws that hold for any input: nothing raises, nothing is lost in silence, what is given is well formed."""

import gzip
import json
import re
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from note_files import read, write

from converter.model import Diagnostic, Note, Severity
from converter.sources.dates import moment
from converter.sources.fields import text_hash

ANY_FILE = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None
)
NAMES = st.sampled_from(["a.txt", "a.csv", "a.tsv", "a.jsonl", "a.json", "a", "a.txt.gz", "a.csv.gz"])
PIECES = st.sampled_from(
    [b"id", b"text", b",", b"\t", b";", b'"', b"\n", b"\r\n", b"\r", b"{", b"}", b'{"id":1,"text":"x"}', b"[",
     b"\x00", b"\xff", b"\xe9", b"\xc3\xa9", b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\x1f\x8b\x08",
     b"\\ud800", b"authored", b"2031-02-30", b"KJ 2+", b"\x1b[31m", b"\xe2\x80\xa8", b"PK\x03\x04", b"%PDF"]
)  # fmt: skip
CONTENT = st.binary(max_size=200) | st.lists(PIECES, max_size=25).map(b"".join)


def well_formed(notes: list[Note], troubles: list[Diagnostic]) -> None:
    for trouble in troubles:
        assert trouble.source
        assert trouble.message.endswith((".", "\ufffd."))
        assert "\n" not in trouble.message
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", trouble.code)
    for note in notes:
        assert note.id
        assert note.hash == text_hash(note.text)
        assert note.source
        assert (note.authored is None) == (note.authored_precision is None)
    assert len({(note.system, note.id) for note in notes}) == len(notes)


@ANY_FILE
@given(name=NAMES, content=CONTENT)
def test_no_content_raises_and_every_file_gives_a_note_or_a_word(
    tmp_path: Path, name: str, content: bytes
) -> None:
    notes, troubles = read(write(tmp_path / name, content))
    well_formed(notes, troubles)
    assert notes or troubles


@ANY_FILE
@given(content=st.lists(PIECES, min_size=1, max_size=25).map(b"".join), keep=st.integers(0, 60))
def test_no_cut_of_a_compressed_file_raises(tmp_path: Path, content: bytes, keep: int) -> None:
    file = tmp_path / "a.jsonl"
    file.write_bytes(gzip.compress(content, mtime=0)[:keep])
    well_formed(*read(file))


@ANY_FILE
@given(
    lines=st.lists(
        st.sampled_from(['{"id": "%d", "text": "KJ"}', '{"id": "%d"}', "[%d]", "%d", "{%d", '"%d"', "  "]),
        min_size=1,
        max_size=20,
    )
)
def test_every_line_of_json_is_a_note_or_an_error(tmp_path: Path, lines: list[str]) -> None:
    lines = [line % at if "%" in line else line for at, line in enumerate(lines)]
    notes, troubles = read(
        write(tmp_path / "a.jsonl", '{"id": "first", "text": "KJ"}\n' + "\n".join(lines) + "\n")
    )
    errors = [trouble for trouble in troubles if trouble.severity is Severity.ERROR]
    said = {note.line for note in notes} | {error.line for error in errors}
    assert said == {1} | {at + 2 for at, line in enumerate(lines) if line.strip()}
    assert len(notes) + len(errors) == len(said)


@ANY_FILE
@given(
    rows=st.lists(st.sampled_from(["n%d,KJ", "n%d", "n%d,KJ,x", 'n%d,"KJ, AJ"', 'n%d,K"J', ""]), max_size=20)
)
def test_every_row_without_open_quotes_is_a_note_or_an_error(tmp_path: Path, rows: list[str]) -> None:
    rows = [row % at if "%" in row else row for at, row in enumerate(rows)]
    notes, troubles = read(write(tmp_path / "a.csv", "id,text\nfirst,KJ\n" + "\n".join(rows) + "\n"))
    errors = [trouble for trouble in troubles if trouble.severity is Severity.ERROR]
    said = {note.line for note in notes} | {error.line for error in errors}
    assert said == {2} | {at + 3 for at, row in enumerate(rows) if row}
    assert all(note.text in ("KJ", "KJ, AJ", 'K"J') for note in notes)


# FHIR R4, the pattern of dateTime: https://hl7.org/fhir/R4/datatypes.html#dateTime
FHIR_DATE_TIME = re.compile(
    r"([0-9]([0-9]([0-9][1-9]|[1-9]0)|[1-9]00)|[1-9]000)(-(0[1-9]|1[0-2])(-(0[1-9]|[1-2][0-9]|3[0-1])"
    r"(T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]+)?(Z|(\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00)))?)?)?"
)


@given(
    st.from_regex(
        r"\A[12]\d{3}-?[01]\d-?[0-3]\d([T ]?[0-2]\d:?[0-6]\d(:?[0-6]\d(\.\d+)?)?(Z|[+-]\d\d:?\d\d)?)?\Z"
    )
)
def test_dates_with_seconds_and_zone_are_fhir_date_times(written: str) -> None:
    found = moment(written)
    if (
        found is None
        or found.precision == "minute"
        or (found.precision == "second" and found.text[-6:-5] not in "+-Z")
    ):
        return
    if found.precision == "second" and not re.search(r"(Z|[+-]\d\d:\d\d)$", found.text):
        return
    assert FHIR_DATE_TIME.fullmatch(found.text), found


def test_the_law_of_lines_would_notice_a_lost_line(tmp_path: Path) -> None:
    content = json.dumps({"id": "a", "text": "x"}) + "\n" + json.dumps({"id": "b"}) + "\n"
    notes, troubles = read(write(tmp_path / "a.jsonl", content))
    assert ([note.line for note in notes], [trouble.line for trouble in troubles]) == ([1], [2])
