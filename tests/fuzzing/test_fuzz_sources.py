"""Damaged files of every form: a note or a word for each, no words of notes in messages, no other lost."""

import re
from pathlib import Path

import pytest
from fuzz_budget import tried
from fuzz_damage import Change, changes, damaged
from fuzz_files import ENCODINGS, SECRET, good_files
from hanging import ends_soon
from hypothesis import given
from hypothesis import strategies as st

from converter.model import Diagnostic, Note
from converter.sources import SourceOptions, format_names, open_notes
from converter.sources.fields import text_hash

FILES = good_files()
FORMS = [None, *(name for name in format_names() if name != "parquet")]
"""Parquet takes its time over every file that is none."""
OPTIONS = st.just(SourceOptions()) | st.builds(
    SourceOptions,
    input_format=st.sampled_from(FORMS),
    encoding=st.sampled_from([None, *ENCODINGS, "utf-7", "undefined", "big5", "utf-16"]),
    largest_note=st.sampled_from([1, 40, 200, 2**20]),
    sections=st.sampled_from([("examination",), ("all",), ("8705-6",), ("x", "")]),
    file_name=st.sampled_from([None, "{patient}", "{patient}.{kind}", "{kind}_{authored}", "{age}/*"]),
)


def read_among_others(
    folder: Path, name: str, content: bytes, options: SourceOptions
) -> list[Note | Diagnostic]:
    """What a file gives that stands between two good ones; those are read whatever is in it."""
    file = folder / name
    file.write_bytes(content)
    others = [folder / "before.good.txt", folder / "behind.good.txt"]
    for other in others:
        other.write_text("KJ 2+", encoding="ascii")
    inputs = [str(others[0]), str(file), str(others[1])]
    with ends_soon():
        items = list(open_notes(inputs, options))
        assert items == list(open_notes(inputs, options))
    ours = [item for item in items if item.source not in {other.as_posix() for other in others}]
    kept = [item for item in items if isinstance(item, Note) and item not in ours]
    if options == SourceOptions(input_format=options.input_format) and options.input_format in (None, "text"):
        assert [note.text for note in kept] == ["KJ 2+", "KJ 2+"]
    return ours


def hold_laws(items: list[Note | Diagnostic], file: str) -> None:
    assert items
    for item in items:
        assert item.source
        assert item.source.startswith(file), item.source
        if isinstance(item, Note):
            well_made(item)
        else:
            well_said(item)
    notes = [item for item in items if isinstance(item, Note)]
    assert len({(note.system, note.id) for note in notes}) == len(notes)


def well_made(note: Note) -> None:
    assert note.id
    assert note.hash == text_hash(note.text)
    assert (note.authored is None) == (note.authored_precision is None)
    at = 0
    for start, source, length in note.origin:
        assert at <= start
        assert length > 0
        assert source >= 0
        at = start + length
    assert at <= len(note.text)
    for value in (note.id, note.patient, note.encounter, note.author, note.facility, note.kind, note.sex):
        (value or "").encode("utf-8")


def well_said(trouble: Diagnostic) -> None:
    words = f"{trouble.message} {trouble.hint or ''} {trouble.path or ''}"
    assert SECRET.partition(" ")[2] not in words, trouble
    assert "Traceback" not in words
    assert "Error" not in words
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", trouble.code)
    assert re.fullmatch(r"[^\n\r]+\.", trouble.message), trouble
    assert trouble.line is None or trouble.line >= 1


@pytest.mark.parametrize("name", FILES)
def test_damaged_files(tmp_path: Path, name: str) -> None:
    content, pieces = FILES[name]

    @tried(15 if name.endswith(".parquet") else 60)
    @given(changes(pieces), OPTIONS)
    def run(done: list[Change], options: SourceOptions) -> None:
        changed = damaged(content, done)
        items = read_among_others(tmp_path, name, changed, options)
        hold_laws(items, (tmp_path / name).as_posix())

    run()
