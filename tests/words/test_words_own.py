"""A site's own words, headings, scales, reflexes and defaults reach what is read."""

from pathlib import Path

import pytest
from word_files import REFLEX, SCALE, table, word_list

from converter.api import open_session, read_notes
from converter.model import Finding, Note, Reading
from converter.settings import SettingsError, load_settings

ROWS = (
    "shin kick[s], site, patellar, trigger, x",
    "tendon taps, reflex, , trigger, heading of our form",
    "form 12, legend, clinic-scale, , heading of our form",
    "sternal [reflex], site, sternal, trigger, x",
    "old exam, heading_other, history, , heading of our form",
)


def read(folder: Path, text: str, settings: str = "") -> Reading:
    """A note as read by a site with words, scales and reflexes of its own."""
    word_list(folder, *ROWS)
    table(folder, SCALE + REFLEX)
    file = folder / "plexor.toml"
    file.write_text("[vocabulary]\nfiles = ['ours.csv', 'ours.toml']\n" + settings, encoding="utf-8")
    session = open_session(load_settings(file))
    ((_, reading),) = read_notes([Note(id="n", text=text, hash="0")], session)
    return reading


def said(finding: Finding) -> tuple[object, ...]:
    return finding.site, finding.side, finding.grade_low, finding.scale, finding.level


def test_own_words_are_read_as_ours(tmp_path: Path) -> None:
    (finding,) = read(tmp_path, "R shin kick 3+").findings
    assert said(finding) == ("patellar", "right", 3, "bedside", "high")


def test_an_own_heading_opens_the_reflexes(tmp_path: Path) -> None:
    reading = read(tmp_path, "Tendon taps: knees 2+, ankles 1+.")
    assert [said(finding)[0] for finding in reading.findings] == ["patellar", "achilles"]
    assert not reading.unread


def test_an_own_heading_opens_the_past(tmp_path: Path) -> None:
    (finding,) = read(tmp_path, "Old exam: KJ 2+.").findings
    assert finding.status == "historical"


def test_an_own_scale_is_chosen_by_the_default_and_by_a_legend(tmp_path: Path) -> None:
    (by_default,) = read(tmp_path, "R KJ 3", "[reading]\ndefault_scale = 'clinic-scale'\n").findings
    assert (by_default.scale, by_default.scale_basis, by_default.level) == (
        "clinic-scale",
        "site_default",
        "high",
    )
    (by_legend,) = read(tmp_path, "Form 12: 0 to 3.\nR KJ 3").findings
    assert (by_legend.scale, by_legend.scale_basis) == ("clinic-scale", "legend")


def test_a_grade_that_the_own_scale_has_not_is_coded_as_nothing(tmp_path: Path) -> None:
    reading = read(tmp_path, "R KJ 4", "[reading]\ndefault_scale = 'clinic-scale'\n")
    assert (reading.findings[0].grade_low, reading.findings[0].as_written) == (None, "4")
    assert "off-scale" in [one.code for one in reading.diagnostics]


def test_an_own_reflex_is_read(tmp_path: Path) -> None:
    (finding,) = read(tmp_path, "L sternal reflex absent.").findings
    assert (finding.site, finding.side, finding.kind, finding.level) == (
        "sternal",
        "left",
        "stretch",
        "absent",
    )


def test_the_order_of_pairs_is_a_default(tmp_path: Path) -> None:
    reading = read(tmp_path, "KJ 1+/3+", "[reading]\npair_order = 'left-right'\n")
    assert {finding.side: finding.grade_low for finding in reading.findings} == {"left": 1, "right": 3}


def test_the_rows_of_a_figure_are_a_default(tmp_path: Path) -> None:
    rows = "[reading]\nfigure_rows = ['biceps', 'triceps', 'patellar', 'achilles']\n"
    session_file = tmp_path / "plexor.toml"
    session_file.write_text(rows, encoding="utf-8")
    assert open_session(load_settings(session_file)).reading.figure_rows == (
        "biceps", "triceps", "patellar", "achilles",
    )  # fmt: skip


def test_a_row_of_a_figure_must_be_a_reflex(tmp_path: Path) -> None:
    file = tmp_path / "plexor.toml"
    file.write_text("[reading]\nfigure_rows = ['biceps', 'shin']\n", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"figure_rows: the vocabulary has no reflex shin"):
        open_session(load_settings(file))


def test_every_own_file_enters_the_fingerprint(tmp_path: Path) -> None:
    first = read(tmp_path, "KJ 2+").vocabulary
    assert read(tmp_path, "KJ 2+").vocabulary == first
    (tmp_path / "plexor.toml").write_text("[vocabulary]\nfiles = ['ours.csv']\n", encoding="utf-8")
    word_list(tmp_path, *ROWS[:2])
    session = open_session(load_settings(tmp_path / "plexor.toml"))
    assert session.vocabulary.fingerprint != first
