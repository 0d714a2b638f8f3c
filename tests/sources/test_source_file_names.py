"""Fields of a note are read out of its file's name by a template."""

from pathlib import Path

import pytest
from note_files import codes, read, write

from converter.sources import SourceOptions
from converter.sources.file_names import fields_of_name


@pytest.mark.parametrize(
    ("template", "path", "fields"),
    [
        ("{patient}-V*", "P-001-V4", {"patient": "P-001"}),
        ("{patient}_{authored}", "p1_2031-05-02", {"patient": "p1", "authored": "2031-05-02"}),
        ("{patient}/{authored} *", "ward/p1/2031-05-02 exam", {"patient": "p1", "authored": "2031-05-02"}),
        ("{facility}.{id}", "ward+1.n(2)", {"facility": "ward+1", "id": "n(2)"}),
        ("{patient}-V*", "P001", None),
        ("{patient}/{id}", "alone", None),
    ],
)
def test_names_are_read_by_template(template: str, path: str, fields: dict[str, str] | None) -> None:
    assert fields_of_name(template, path) == fields


@pytest.mark.parametrize(
    ("template", "words"),
    [
        ("{who}", "may name in braces"),
        ("{text}", "may name in braces"),
        ("{patient", "may name in braces"),
        ("{}", "may name in braces"),
        ("{patient}-{patient}", "each one once"),
        ("*", "must name a field"),
        ("{patient}*", "what stands between"),
        ("{patient}{kind}", "what stands between"),
    ],
)
def test_a_template_that_cannot_be_used_is_refused_at_once(template: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        read("-", options=SourceOptions(file_name=template))


def test_files_give_their_fields_and_keep_their_own_id(tmp_path: Path) -> None:
    write(tmp_path / "p1" / "2031-05-02.txt.gz", "KJ 2+")
    write(tmp_path / "p1" / "2031-02-30.txt", "AJ 2+")
    notes, troubles = read(tmp_path, options=SourceOptions(file_name="{patient}/{authored}"))
    assert [(note.id, note.patient, note.authored) for note in notes] == [
        ("2031-02-30", "p1", None),
        ("2031-05-02", "p1", "2031-05-02"),
    ]
    assert codes(troubles) == ["bad-date"]


def test_a_name_that_does_not_fit_is_said_and_the_note_goes_through(tmp_path: Path) -> None:
    (note,), troubles = read(
        write(tmp_path / "a.txt", "KJ 2+"), options=SourceOptions(file_name="{patient}-*")
    )
    assert (note.id, note.patient) == ("a", None)
    assert codes(troubles) == ["name-does-not-fit"]
