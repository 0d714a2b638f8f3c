"""The report: whole in itself, hostile text harmless, cautions everywhere, records that agree with it."""

import csv
import io
import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from audit_samples import audited, note, read_all, session, small_archive

from converter import api, loading
from converter.assess import course_of
from converter.audit import (
    CAUTION,
    PatientVisit,
    audit_record,
    audit_rows,
    page_name,
    patient_html,
    report_html,
)
from converter.audit.charts import control_svg, group_bars
from converter.audit.control import control_chart
from converter.audit.values import Row
from converter.cli.audit import Naming, ReportFormat, write_audit, write_patients
from converter.cli.audit import audit as audit_command
from converter.cli.running import CannotRunError

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>\" '--> {{ 7*7 }}"


class Elements(HTMLParser):
    """Collects elements, attributes and text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs


def hostile_rows() -> list[tuple[str | None, ...]]:
    return [
        (f"N1{HOSTILE}", HOSTILE, HOSTILE, HOSTILE, HOSTILE, "2031-01-01", f"{HOSTILE} right knee jerk 3+."),
        ("N2", HOSTILE, "EX-1", "W", "progress", "2031-02-01", f"{HOSTILE} left knee jerk 1+."),
    ]


@pytest.fixture(scope="module")
def page() -> str:
    return report_html(audited(small_archive()))


def test_the_report_needs_nothing_from_outside(page: str) -> None:
    elements = Elements(page)
    assert not {"link", "iframe", "img", "object", "embed"} & set(elements.tags)
    loads = [value for name, value in elements.attributes if name in ("src", "href", "action", "xlink:href")]
    assert all(value and value.startswith("#") for value in loads)
    assert "url(" not in page
    assert "@import" not in page


def test_every_chart_has_a_name_and_a_table(page: str) -> None:
    assert page.count("<svg") > 100
    assert page.count("<svg") == page.count('role="img"') == len(re.findall(r"<svg[^>]*>\s*<title>", page))
    for panel in page.split('<div class="panel"')[1:]:
        assert "<table>" in panel.split('<div class="panel"')[0]


def test_hostile_text_stays_text() -> None:
    read = read_all(note(row) for row in hostile_rows())
    page = report_html(audited(read, name_notes=True, quotes=True))
    elements = Elements(page)
    assert elements.tags.count("script") == 1  # our own
    assert "img" not in elements.tags
    assert not [name for name, _ in elements.attributes if name.startswith("on")]
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "{{ 7*7 }}" in page


def test_the_page_allows_only_its_own_script() -> None:
    page = report_html(audited([]))
    assert "default-src 'none'" in page
    assert "script-src 'sha256-" in page.replace("&#39;", "'")


def test_every_form_of_the_report_carries_the_cautions(page: str) -> None:
    audit = audited(small_archive())
    assert CAUTION.split(",")[0] in page
    assert CAUTION in audit_record(audit)["cautions"]
    assert all(CAUTION in row["caution"] for row in audit_rows(audit))


def test_hidden_numbers_are_in_no_form_of_the_report() -> None:
    """By hand: 11 patients; ten behind the notes with an examination, but one hidden rest hides that."""
    audit = audited(small_archive(), min_count=10)
    rows = [row for row in audit_rows(audit) if row["counted"]]
    hidden = [row for row in rows if row["hidden"]]
    assert hidden
    assert all(row["share"] is None for row in hidden)
    assert all(row["count"] is None or row["count"] == 0 or row["count"] >= 10 for row in rows)
    record = json.dumps(audit_record(audit))
    assert "EX-1" in record
    assert '"notes":' not in record


def test_naming_notes_and_hiding_numbers_exclude_each_other() -> None:
    with pytest.raises(ValueError, match="cannot hide"):
        audited(small_archive(), min_count=10, name_notes=True)


def test_notes_behind_a_figure_are_listed_without_words_unless_wanted() -> None:
    plain = report_html(audited(small_archive(), name_notes=True))
    assert 'id="notes-side-unstated"' in plain
    assert "Ankle jerk absent" not in plain
    quoted = report_html(audited(small_archive(), name_notes=True, quotes=True))
    assert "Ankle jerk absent" in quoted


def test_without_text_the_report_says_so() -> None:
    page = report_html(audited(small_archive(), has_text=False))
    assert page.count("Not counted.") >= 4


def test_published_figures_carry_their_sources() -> None:
    audit = audited([])
    known = {result.figure.figure for result in audit.results}
    assert audit.published
    for one in audit.published:
        assert one.source
        assert set(one.beside) <= known


def test_csv_and_json_agree() -> None:
    audit = audited(small_archive())
    stream = io.StringIO()
    write_audit(stream, ReportFormat.CSV, audit)
    rows = list(csv.DictReader(io.StringIO(stream.getvalue())))
    record = audit_record(audit)
    assert len(rows) == sum(len(figure["rows"]) for figure in record["figures"])
    first = next(row for row in rows if row["figure"] == "side-unstated" and row["dimension"] == "all")
    assert (first["count"], first["of"]) == ("3", "11")


def test_the_same_archive_gives_the_same_bytes(page: str) -> None:
    assert report_html(audited(small_archive())) == page


def test_the_page_stays_light(page: str) -> None:
    """13 notes with all their charts: well under a megabyte, so that it can be sent and opened on a phone."""
    assert len(page.encode()) < 700_000


def test_without_the_package_that_draws_one_sentence_says_so(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "vl_convert", None)
    with pytest.raises(CannotRunError, match=r"pip install 'plexor\[audit\]'"):
        audit_command(archive, out=tmp_path / "report.html")
    assert not (tmp_path / "report.html").exists()
    assert audit_command(archive, out=tmp_path / "report.json", format_=ReportFormat.JSON) == 0


def test_bars_are_as_long_as_their_shares() -> None:
    """A quarter of 250 units is 62.5; a hidden group has no bar; hostile names stay text."""
    rows = [
        Row(dimension="examiner", group=HOSTILE, counts={"yes": 1}, of=4),
        Row(dimension="examiner", group="EX-2", counts={"yes": None}, of=4),
    ]
    drawn = group_bars("by examiner", rows, None)
    assert re.findall(r'd="M0,3h([\d.]+)v20[^"]*" fill="var\(--bar\)"', drawn) == ["62.5"]
    assert "EX-2" not in drawn
    assert "<script" not in drawn
    assert "<desc>" in drawn


def test_months_beyond_the_limits_are_diamonds() -> None:
    """By hand: centre 102/300 = 0.34, limits 0.34 +- 3 * sqrt(0.34 * 0.66 / 100) = 0.198 and 0.482; 90% is
    beyond, so are 10% and 2%."""
    rows = [
        Row(dimension="month", group=f"2031-0{at}", counts={"yes": yes}, of=100)
        for at, yes in ((1, 90), (2, 10), (3, 2))
    ]
    chart = control_chart(rows)
    assert chart is not None
    drawn = control_svg("by month", chart)
    assert "centre 34%; beyond the limits: 2031-01, 2031-02, 2031-03" in drawn
    assert len(re.findall(r'<path transform="[^"]*" d="[^"A]*" fill="var\(--mark\)"', drawn)) == 3
    assert drawn.count("A4.472") == 0  # no circles


def test_patient_pages_mark_findings_and_show_hostile_notes_harmlessly() -> None:
    read = read_all(note(row) for row in hostile_rows())
    visits = [PatientVisit(note=one, reading=reading, drawings=()) for one, reading, _ in read]
    words = session().vocabulary
    course = course_of([(one, reading) for one, reading, _ in read], words)
    page = patient_html(course, visits, words, made="", program="plexor")
    elements = Elements(page)
    assert not {"script", "img"} & set(elements.tags)
    assert "mark" in elements.tags
    assert "<mark>knee jerk</mark>" in page
    shown = re.sub(r"<sup>.*?</sup>|</?mark>", "", page.split('<pre class="note">')[1].split("</pre>")[0])
    assert shown == _escaped(read[0][0].text)


def _escaped(text: str) -> str:
    from markupsafe import escape

    return str(escape(text))


@pytest.mark.parametrize(
    "patient", ["../../etc/passwd", "a/b\\c", "CON", "\u202eevil", "", "x" * 500, "a:b*c?"]
)
def test_file_names_of_patients_are_safe(patient: str) -> None:
    name = page_name(patient)
    assert re.fullmatch(r"[A-Za-z0-9_-]+\.[0-9a-f]{12}\.html", name)
    assert len(name) < 80


def test_patients_with_like_names_have_pages_of_their_own() -> None:
    assert len({page_name("a/b"), page_name("a b"), page_name("a-b")}) == 3


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("audit") / "small.duckdb"
    loading.load([one for one, _, _ in small_archive()], path, session())
    return path


def test_an_archive_gives_the_figures_of_its_notes(archive: Path) -> None:
    from converter.audit import AuditOptions

    made = api.audit(
        archive, session(), AuditOptions(min_count=1, made="2031-06-01T00:00:00Z", program="plexor")
    )
    assert made.results == audited(small_archive()).results


def test_an_archive_without_quotes_counts_what_it_can(tmp_path: Path) -> None:
    from converter.audit import AuditOptions

    path = tmp_path / "bare.duckdb"
    loading.load([one for one, _, _ in small_archive()], path, session(), loading.Loading(quotes=False))
    made = api.audit(path, session(), AuditOptions(min_count=1))
    assert not made.has_text
    assert next(one for one in made.results if one.figure.figure == "reflexes").rows[0].of == 13


def test_patient_pages_are_separate_private_files(archive: Path, tmp_path: Path) -> None:
    folder = tmp_path / "report-patients"
    write_patients(folder, archive, session())
    pages = sorted(folder.iterdir())
    assert len(pages) == 10  # by hand: patients A to J
    assert folder.stat().st_mode & 0o077 == 0
    assert all(page.stat().st_mode & 0o077 == 0 for page in pages)
    assert "Right only" not in pages[0].read_text(encoding="utf-8")
    assert "<svg" in pages[0].read_text(encoding="utf-8")


def test_patient_pages_do_not_mix_with_other_files(archive: Path, tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(CannotRunError, match="other files"):
        write_patients(tmp_path, archive, session())


def test_the_command_refuses_what_cannot_go_together(archive: Path) -> None:
    with pytest.raises(CannotRunError, match="--min-count 1"):
        audit_command(archive, notes=Naming.IDS, min_count=10)
    with pytest.raises(CannotRunError, match="--out"):
        audit_command(archive, patients=True)
