"""A sample that was drawn with `plexor sample`, gone through on the page; and how the command answers."""

import sys
from pathlib import Path

import pytest
from page_server import archive_of, decisions_in, desk_of, session

from converter.model import Diagnostic
from converter.review.sample_places import SamplePlace, sample_places
from converter.review_page import Desk, Review
from converter.review_page.pages import Asked, Pages

sys.path.insert(0, str(Path(__file__).parent.parent / "cli"))
from commands import plexor

TEXTS = {"a": "R KJ 2+, L KJ 1+, AJ 2+.", "b": "Strength 4/5. DTRs were puzzling.", "c": "Plantars down."}


def drawn(archive: Path) -> Path:
    sheet = archive.with_name("sheet.csv")
    assert plexor("sample", archive, "--size", "10", "--out", sheet).status == 0
    return sheet


def test_every_place_of_a_drawn_sample_is_one_question(tmp_path: Path) -> None:
    archive = archive_of(tmp_path, TEXTS)
    places = list(sample_places(drawn(archive)))
    assert all(isinstance(one, SamplePlace) for one in places)
    rows = drawn(archive).read_text(encoding="utf-8").splitlines()
    assert len(places) == len(rows) - 1
    desk = sampled(archive, places)
    assert {one.kind for one in desk.questions} == {"sample"}
    assert len(desk.questions) == len(places)
    assert desk.found.not_there == 0
    pages = Pages(desk, "/t")
    for question in desk.questions:
        (subject,) = question.subjects
        verdict = "confirm" if subject.finding else "reject"
        fields = {"verdict": verdict, "places": subject.key, "seen": "99"}
        assert pages.decide(Asked(name=question.question, form=fields)).to
    assert desk.progress().left == 0
    assert {one.verdict for one in decisions_in(archive)} == {"confirmed", "no_finding"}
    assert len(drawn(archive).read_text(encoding="utf-8").splitlines()) == 1  # nothing is left to draw


def sampled(archive: Path, places: list[SamplePlace | Diagnostic]) -> Desk:
    kept = tuple(one for one in places if isinstance(one, SamplePlace))
    desk = Desk(
        Review(archive=archive, session=session(), by="R-1", now=lambda: "2031-05-01T08:00:00Z", sample=kept)
    )
    desk.prepare()
    return desk


def test_a_place_that_is_gone_is_counted_and_said(tmp_path: Path) -> None:
    archive = archive_of(tmp_path, TEXTS)
    places = [*sample_places(drawn(archive)), SamplePlace(None, "gone", "0" * 64, None, ((0, 2),))]
    desk = sampled(archive, places)
    assert desk.found.not_there == 1
    assert "1 place of the sample is not in the archive any more" in Pages(desk, "/t").overview(Asked()).html


@pytest.mark.parametrize(
    ("sheet", "sentence"),
    [
        ("", "The sheet has no column id."),
        ("id;note_hash;place\na;b;", "The row names no place"),
        ("id,note_hash,place\na,b,3..1", "The row names no place"),
        ("id,note_hash,place\n,b,1..3", "The row names no note"),
        ("id,note_hash,place\na,b,=1..3", "The row names no place"),
        ("id,place\na,1..2", "The sheet has no column note_hash."),
    ],
)
def test_a_sheet_that_is_none_is_told_with_its_line(tmp_path: Path, sheet: str, sentence: str) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(sheet, encoding="utf-8")
    (trouble,) = sample_places(file)
    assert isinstance(trouble, Diagnostic)
    assert sentence in trouble.message
    assert trouble.source == str(file)
    ran = plexor("review", archive_of(tmp_path, TEXTS), "--sample", file)
    assert ran.status == 2
    assert "there is no place of a sample in it" in ran.err


def test_the_command_says_what_is_wrong(tmp_path: Path) -> None:
    archive = archive_of(tmp_path, TEXTS)
    assert "there is no archive here" in plexor("review", tmp_path / "none.duckdb").err
    assert "--by" in plexor("review", archive, "--by", "  ").err
    assert plexor("review", archive, "--by", "R\u202e").status == 2
    assert plexor("review", archive, "--sample", tmp_path / "none.csv").status == 2


def test_without_its_packages_the_command_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    ran = plexor("review", archive_of(tmp_path, TEXTS))
    assert ran.status == 2
    assert "pip install 'plexor[review]'" in ran.err


def test_the_queue_of_an_archive_without_doubts_is_empty(tmp_path: Path) -> None:
    desk = desk_of(archive_of(tmp_path, {"c": "Plantars down."}))
    assert desk.questions == ()
    shown = Pages(desk, "/t").overview(Asked()).html
    assert "Nothing in this archive is doubtful, contradictory or unread." in shown
