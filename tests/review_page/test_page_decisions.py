"""What happens with a decision: saved at once, undone, refused where it does not fit, and never lost."""

import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from http.client import HTTPException
from pathlib import Path

import pytest
from page_server import (
    AT,
    NOTES,
    Got,
    Served,
    archive_of,
    decisions_in,
    desk_of,
    notes_of,
    opened,
    served,
    session,
)

from converter.api import open_session
from converter.archive import ArchiveBusyError, NoteKey, open_archive, stored_readings
from converter.loading import load
from converter.model import Finding
from converter.review_page.pages import Asked, Pages
from converter.settings import settings_from

pytest.importorskip("uvicorn", reason="the review page needs plexor[review]")


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return archive_of(tmp_path)


@pytest.fixture
def page(archive: Path) -> Iterator[Served]:
    with opened(archive) as running:
        yield running


def findings(archive: Path, note: str) -> list[Finding]:
    """The findings of a note as every search sees them."""
    with open_archive(archive, read_only=True, patience=5) as opened:
        ((_, reading, _),) = stored_readings(opened, [NoteKey("urn:example:notes", note)])
        return list(reading.findings)


def confirm(page: Served, path: str, got: Got | None = None) -> Got:
    fields = (got or page.get(path)).inputs('value="confirm"')
    return page.post(f"{path}/decide", fields | {"verdict": "confirm"})


def form_of(page: Served, path: str, **answers: str) -> dict[str, str]:
    """The form that corrects the first finding of a question, filled in."""
    shown = page.get(path)
    key = shown.inputs('value="confirm"')["places"]
    return {"place": key, "seen": "0", "show": "", **answers}


def test_confirming_saves_who_and_when_and_goes_on(page: Served, archive: Path) -> None:
    path = page.question("doubt")
    answer = confirm(page, path)
    assert answer.status == 303
    (saved,) = decisions_in(archive)
    assert (saved.verdict, saved.by, saved.at, saved.id) == ("confirmed", "R-1", AT, "RV-3")
    assert saved.finding is not None
    assert (saved.finding.site, saved.finding.certainty) == ("hoffmann", "uncertain")
    followed = page.ask("GET", answer.headers["location"], {})
    assert "Saved: Confirmed: Hoffmann sign, left: present." in followed.text
    assert "1 of 3 settled, 2 left" in followed.text


def test_a_contradiction_is_settled_place_by_place(page: Served, archive: Path) -> None:
    path = page.question("contradiction")
    first = confirm(page, path)
    assert path in first.headers["location"]  # the other place is open still
    fields = page.get(path).inputs('value="confirm"')
    assert fields["places"].startswith("patellar-right-")
    assert page.post(f"{path}/decide", fields | {"verdict": "reject"}).status == 303
    assert [one.verdict for one in decisions_in(archive)] == ["confirmed", "rejected"]
    assert [one.level for one in findings(archive, "RV-1") if one.site == "patellar"] == ["low"]


def test_all_places_at_once(page: Served, archive: Path) -> None:
    path = page.question("unread")
    fields = page.get(path).inputs("No finding in any")
    assert page.post(f"{path}/decide", fields | {"verdict": "reject"}).status == 303
    assert [one.verdict for one in decisions_in(archive)] == ["no_finding", "no_finding"]
    assert page.get("/next?show=unread").headers["location"] == f"{page.base}/"


def test_a_correction_is_what_every_search_sees(page: Served, archive: Path) -> None:
    path = page.question("doubt")
    fields = form_of(page, path, side="right", certainty="stated", remark="heard it from the examiner")
    assert page.post(f"{path}/correct", fields).status == 303
    hoffmann = next(one for one in findings(archive, "RV-3") if one.site == "hoffmann")
    assert (hoffmann.side, hoffmann.certainty, hoffmann.verdict) == ("right", "stated", "corrected")
    assert hoffmann.as_written == "positive"  # the note's own word, whatever was typed
    assert decisions_in(archive)[0].remark == "heard it from the examiner"


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ({"value": "2"}, {"grade_low": 2, "grade_high": 2, "level": "normal", "plus": "none"}),
        ({"value": "0"}, {"grade_low": 0, "level": "absent"}),
        ({"value": "1-2"}, {"grade_low": 1, "grade_high": 2, "level": None}),
        ({"value": "brisk"}, {"grade_low": None, "descriptor": "brisk", "level": "high"}),
        ({"reflex": "achilles"}, {"site": "achilles", "grade_low": 1, "level": "low"}),
        ({"status": "historical"}, {"status": "historical", "grade_low": 1}),
        ({"status": "not_tested", "reason": "cast"}, {"status": "not_tested", "grade_low": None}),
        ({"status": "not_tested", "reason": "cast"}, {"reason": "cast"}),
        ({"value": "3", "scale": "ninds"}, {"grade_low": 3, "scale": "ninds", "level": "normal"}),
        ({"words": "AJ 2+", "reflex": "achilles", "value": "2+"}, {"quote": "AJ 2+", "as_written": "2+"}),
    ],
)  # fmt: skip
def test_each_answer_of_the_form_counts(
    archive: Path, answers: dict[str, str], expected: dict[str, object]
) -> None:
    """Grades and levels by the bedside scale of the word lists; NINDS 3 is in the upper half of normal."""
    desk = desk_of(archive)
    pages, question = Pages(desk, "/t"), desk.questions[0]
    fields = {"place": question.subjects[0].key, "seen": "0", **answers}
    answer = pages.save_correction(Asked(name=question.question, form=fields))
    assert answer.to, answer.html
    (saved,) = decisions_in(archive)
    assert saved.finding is not None
    assert {name: getattr(saved.finding, name) for name in expected} == expected
    assert saved.made_on == question.subjects[0].finding


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ({"value": "purple"}, "is not understood"),
        ({"value": ""}, "Give the value as a note would write it"),
        ({"words": "no such words"}, "as they stand there"),
        ({"reflex": "plantar"}, "is not understood"),
        ({"reflex": "elbow_of_doom"}, "no reflex"),
        ({"side": "middle"}, "no side"),
        ({"certainty": "maybe"}, "Say whether the note is sure"),
        ({"scale": "scales-of-justice", "value": "2"}, "no scale"),
        ({"words": "+"}, "These words stand 3 times in the note. Choose the place."),
    ],
)  # fmt: skip
def test_an_answer_that_cannot_be_used_is_told_beside_its_field(
    archive: Path, answers: dict[str, str], sentence: str
) -> None:
    desk = desk_of(archive)
    pages, question = Pages(desk, "/t"), desk.questions[0]
    fields = {"place": question.subjects[0].key, "seen": "0", **answers}
    answer = pages.save_correction(Asked(name=question.question, form=fields))
    assert answer.status == 422
    assert sentence in answer.html
    assert decisions_in(desk.review.archive) == []


def test_a_finding_that_was_missed_is_added_at_its_words(page: Served, archive: Path) -> None:
    path = page.question("unread")
    assert 'value="DTRs were puzzling"' in page.get(f"{path}/add?place=@13-31").text
    fields = {
        "words": "ankle jerk zibbled",
        "reflex": "achilles",
        "side": "left",
        "value": "absent",
        "seen": "0",
    }
    assert page.post(f"{path}/add", fields).status == 303
    (added,) = findings(archive, "RV-2")
    text = NOTES["RV-2"]
    assert (added.site, added.side, added.level, added.verdict) == ("achilles", "left", "absent", "added")
    assert text[added.start : added.end] == added.quote == "ankle jerk zibbled"
    assert added.as_written is None  # the note does not write "absent"
    assert "1 left" not in page.get(path).text  # the other unread words are open still


def test_undo_brings_the_question_back(page: Served, archive: Path) -> None:
    path = page.question("doubt")
    answer = confirm(page, path)
    fields = page.ask("GET", answer.headers["location"], {}).inputs("Undo")
    undone = page.post("/undo", fields)
    assert path in undone.headers["location"]
    shown = page.ask("GET", undone.headers["location"], {}).text
    assert "Undone: Confirmed" in shown
    assert "0 of 3 settled" in shown
    (kept,) = decisions_in(archive)
    assert (kept.undone_by, kept.undone_at) == ("R-1", AT)
    assert "undone by R-1" in page.get("/decisions").text
    again = page.post("/undo", fields)
    assert again.status == 409
    assert "was undone before" in again.text


def test_sending_a_form_twice_saves_once(page: Served, archive: Path) -> None:
    path = page.question("doubt")
    shown = page.get(path)
    assert [confirm(page, path, shown).status for _ in range(2)] == [303, 409]
    assert len(decisions_in(archive)) == 1


def test_two_people_with_one_archive_each_see_what_the_other_saved(archive: Path) -> None:
    with served(archive, "R-1") as one, served(archive, "R-2") as two:
        path = one.question("doubt")
        seen_by_two = two.get(path)
        assert confirm(one, path).status == 303
        refused = confirm(two, path, seen_by_two)
        assert refused.status == 409
        assert "R-1 decided on this place while you looked at it (confirmed" in refused.text
        assert "Your decision was not saved" in refused.text
        assert "1 of 3 settled, 2 left" in two.get("/").text
        assert confirm(two, two.question("contradiction")).status == 303
        assert {one.by for one in decisions_in(archive)} == {"R-1", "R-2"}


def test_two_people_at_the_very_same_time_lose_nothing(tmp_path: Path) -> None:
    """Each decides on every other note at once; every decision that was answered as saved is there."""
    archive = archive_of(tmp_path, {f"n{number}": "Left Hoffmann possibly positive." for number in range(12)})
    saved: list[str] = []
    troubles: list[int] = []

    def work(page: Served, paths: list[str]) -> None:
        for path in paths:
            status = confirm(page, path).status
            (saved if status == 303 else troubles).append(path if status == 303 else status)  # type: ignore[arg-type]

    with served(archive, "R-1") as one, served(archive, "R-2") as two:
        names = [question.question for question in desk_of(archive).questions]
        paths = [f"/question/{name}" for name in names]
        workers = [
            threading.Thread(target=work, args=(page, own))
            for page, own in ((one, paths[::2]), (two, paths[1::2]))
        ]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join(timeout=240)
    assert troubles == []
    kept = decisions_in(archive)
    assert len(saved) == len(kept) == 12
    assert sorted(one.by for one in kept) == ["R-1"] * 6 + ["R-2"] * 6


def test_an_archive_that_is_in_use_is_told_and_the_answer_kept(archive: Path) -> None:
    desk = desk_of(archive, patience=0.2)
    pages, question = Pages(desk, "/t"), desk.questions[0]
    fields = {"verdict": "confirm", "places": question.subjects[0].key, "seen": "0"}
    busy = r"another program \(process \d+\) has the archive open"
    with held_open(archive), pytest.raises(ArchiveBusyError, match=busy):
        pages.decide(Asked(name=question.question, form=fields))
    assert pages.decide(Asked(name=question.question, form=fields)).to


def test_the_page_of_an_archive_in_use_offers_to_try_again(archive: Path) -> None:
    with opened(archive) as page:
        path = page.question("doubt")
        shown = page.get(path)
        with held_open(archive):
            answer = confirm(page, path, shown)
        assert answer.status == 503
        assert "Not saved" in answer.text
        assert 'name="verdict">confirm</textarea>' in answer.text
        assert confirm(page, path, shown).status == 303


@contextmanager
def held_open(archive: Path) -> Iterator[None]:
    """Meanwhile another program has the archive open for writing."""
    held = "import sys, duckdb; c = duckdb.connect(sys.argv[1]); print('open', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", held, str(archive)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == b"open"
        yield
        process.kill()


def test_others_can_write_while_the_page_stands_open(page: Served, archive: Path) -> None:
    page.get(page.question("doubt"))
    totals = load(notes_of({"RV-9": "R KJ 1+, R KJ 3+."}), archive, replace(session(), run="r2"))
    assert totals.with_findings == 1
    assert page.post("/queue", {"again": "yes"}).status == 303
    assert "0 of 4 settled" in page.get("/").text


def test_a_note_that_changed_meanwhile_is_not_decided_on(page: Served, archive: Path) -> None:
    path = page.question("doubt")
    shown = page.get(path)
    load(notes_of({"RV-3": "Left Hoffmann negative."}), archive, replace(session(), run="r2"))
    answer = confirm(page, path, shown)
    assert answer.status == 410
    assert "has another text now" in answer.text
    assert decisions_in(archive) == []


def test_a_decision_that_does_not_fit_a_new_reading_is_asked_about_again(tmp_path: Path) -> None:
    archive = archive_of(tmp_path, {"n": "Left Hoffmann possibly positive. R AJ 2+."})
    desk = desk_of(archive)
    fields = {"verdict": "confirm", "places": desk.questions[0].subjects[0].key, "seen": "0"}
    assert Pages(desk, "/t").decide(Asked(name=desk.questions[0].question, form=fields)).to
    words = tmp_path / "own.csv"
    words.write_text(
        "phrase, role, meaning, flags, source\npossibly positive, value, present, , our own\n",
        encoding="utf-8",
    )
    settings = settings_from({"vocabulary": {"files": [str(words)]}})
    other = open_session(settings, run="r2", time=AT)
    assert load(notes_of({"n": "Left Hoffmann possibly positive. R AJ 2+."}), archive, other).superseded == 1
    again = desk_of(archive)
    (question,) = again.questions
    assert "does not fit what is read here now" in question.why[0]
    assert again.progress().left == 1
    pages = Pages(again, "/t")
    shown = pages.question(Asked(name=question.question)).html
    assert "Earlier decisions that do not fit any more" in shown
    assert "does not fit what is read now" in pages.decisions(Asked()).html
    assert pages.undo(Asked(form={"number": "1"})).to
    again.prepare()
    assert again.questions == ()


@pytest.mark.parametrize("seed", range(3))
def test_a_program_that_is_killed_loses_no_saved_decision(tmp_path: Path, seed: int) -> None:
    """SIGKILL at a moment drawn at random; every decision that was answered as saved is in the file."""
    archive = archive_of(tmp_path, {f"n{number}": "Left Hoffmann possibly positive." for number in range(30)})
    answered: list[str] = []
    with served(archive) as page:
        wait = random.Random(seed).uniform(0.2, 2.0)
        killer = threading.Timer(wait, page.process.send_signal, [signal.SIGKILL])
        killer.start()
        try:
            while len(answered) < 30:
                path = page.question("doubt")
                if confirm(page, path).status == 303:
                    answered.append(path.rpartition("/")[2])
        except (OSError, AssertionError, HTTPException):
            pass  # the program is gone
        killer.join()
        page.process.wait(timeout=30)
    saved = {one.id for one in decisions_in(archive)}
    names = {question.question: question.id for question in desk_of(archive).questions}
    assert {names[name] for name in answered} <= saved
    assert len(saved) <= len(answered) + 1  # at most the one that was under way
    with opened(archive) as again:
        assert confirm(again, again.question("doubt")).status == 303


def test_stopping_from_the_keyboard_ends_cleanly(archive: Path) -> None:
    with served(archive) as page:
        assert confirm(page, page.question("doubt")).status == 303
        time.sleep(0.1)
        page.process.send_signal(signal.SIGINT)
        assert page.process.wait(timeout=30) == 0
    assert len(decisions_in(archive)) == 1
