"""Sending to real servers: killed in the middle, lost answers, changed words, and what searches find then."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from fhir_servers import FhirServer, memory_server, running, stored_server
from sent_notes import BASE, FOUR, load, loaded, nothing_twice_nothing_missing, send

CODES = f"{BASE}/CodeSystem"
HPO = "http://human-phenotype-ontology.org"


@pytest.fixture
def stored(tmp_path: Path) -> Iterator[FhirServer]:
    (tmp_path / "server").mkdir()
    yield from running(stored_server(tmp_path / "server"))


@pytest.fixture
def in_memory(tmp_path: Path) -> Iterator[FhirServer]:
    (tmp_path / "server").mkdir()
    yield from running(memory_server(tmp_path / "server", lost=1))


@pytest.fixture(params=["stored", "in_memory"])
def server(request: pytest.FixtureRequest) -> FhirServer:
    found: FhirServer = request.getfixturevalue(request.param)
    return found


def test_what_stands_in_the_archive_stands_on_the_server_once(server: FhirServer, tmp_path: Path) -> None:
    archive = loaded(tmp_path, *FOUR)
    ran = send(server, archive, "--batch", "2")
    assert ran.status == 0, ran.out + ran.err
    assert ran.out.startswith("4 notes sent, 0 unchanged, 0 not sent\n")
    nothing_twice_nothing_missing(server, tmp_path)
    again = send(server, archive)
    assert again.out.startswith("0 notes sent, 4 unchanged, 0 not sent\n")
    nothing_twice_nothing_missing(server, tmp_path)
    _search_finds_what_a_person_expects(server)


def _search_finds_what_a_person_expects(server: FhirServer) -> None:
    """Read by a person in the four notes of the demo; each search uses parameters of FHIR R4 alone.

    P-001-V2: "R 2+ throughout. L BJ 3+ TJ 3+ SJ 3+ KJ 3+ AJ 3+", "toes: L up, R down".
    P-001-V3: a table; left 3+ are biceps, brachioradialis, patellar, achilles; plantar up on the left.
    P-002-V1: "KJ 2+ b/l, AJ R 0 L 2+". P-002-V2: right ankle jerk absent, knee jerks 2+ and symmetric.
    """
    left_knee = f"{CODES}/reflex|patellar-left,{CODES}/reflex|patellar-both"
    assert _said(server, code=left_knee) == [
        ("P-001", "2025-02-17", "patellar-left", "3+"),
        ("P-001", "2025-03-10", "patellar-left", "3+"),
        ("P-002", "2025-03-05", "patellar-both", "2+"),
        ("P-002", "2025-04-02", "patellar-both", "2+"),
    ]
    at_least_3 = ",".join(f"{CODES}/scale-bedside|{grade}" for grade in (3, 4, 5))
    assert _said(server, **{"value-concept": at_least_3}) == [
        *(("P-001", "2025-02-17", f"{site}-left", "3+") for site in sorted(
            ("biceps", "triceps", "brachioradialis", "patellar", "achilles"))),
        *(("P-001", "2025-03-10", f"{site}-left", "3+") for site in sorted(
            ("biceps", "brachioradialis", "patellar", "achilles"))),
    ]  # fmt: skip
    extensor = server.all("Observation", code=f"{CODES}/abnormality|extensor-plantar")
    assert sorted(one["effectiveDateTime"][:10] for one in extensor) == ["2025-02-17", "2025-03-10"]
    absent_ankle = server.all("Observation", code=f"{HPO}|HP:0003438")  # "Absent Achilles reflex"
    assert sorted(one["effectiveDateTime"][:10] for one in absent_ankle) == ["2025-03-05", "2025-04-02"]


def _said(server: FhirServer, **asked: str) -> list[tuple[str, str, str, str]]:
    """Patient, day, reflex with its side, and the value as written, of what a search finds."""
    return sorted(
        (
            one["subject"]["identifier"]["value"],
            one["effectiveDateTime"][:10],
            one["code"]["coding"][1]["code"],
            one["valueCodeableConcept"]["text"],
        )
        for one in server.all("Observation", **asked)
    )


def test_a_server_killed_in_the_middle(stored: FhirServer, tmp_path: Path) -> None:
    archive = loaded(tmp_path, *FOUR, "P-003-V1", "P-003-V2", "P-004-V1", "P-004-V2")
    report = tmp_path / "report.jsonl"
    sending = _sending(stored, archive, report, "--attempts", "2")
    _wait_for_batches(report, 3)
    stored.kill()
    out, err = sending.communicate(timeout=60)
    assert sending.returncode == 2, out + err
    assert b"cannot be reached, after 2 attempts" in err
    assert b"run the same command again" in err
    stored.start()
    ran = send(stored, archive)
    assert ran.status == 0, ran.err
    sent = int(ran.out.split()[0])
    assert 0 < sent <= 5, "what the server took before is not sent again"
    nothing_twice_nothing_missing(stored, tmp_path)


def test_a_server_that_comes_back_in_time_is_waited_for(stored: FhirServer, tmp_path: Path) -> None:
    archive = loaded(tmp_path, *FOUR, "P-003-V1", "P-003-V2")
    report = tmp_path / "report.jsonl"
    sending = _sending(stored, archive, report)
    _wait_for_batches(report, 2)
    stored.kill()
    stored.start()
    out, err = sending.communicate(timeout=120)
    assert sending.returncode == 0, out + err
    nothing_twice_nothing_missing(stored, tmp_path)


def test_a_killed_sender_goes_on_where_it_was(stored: FhirServer, tmp_path: Path) -> None:
    archive = loaded(tmp_path, *FOUR, "P-003-V1", "P-003-V2")
    report = tmp_path / "report.jsonl"
    sending = _sending(stored, archive, report)
    _wait_for_batches(report, 3)
    sending.send_signal(signal.SIGKILL)
    sending.communicate()
    ran = send(stored, archive)
    assert ran.status == 0, ran.err
    assert int(ran.out.split()[0]) <= 4
    nothing_twice_nothing_missing(stored, tmp_path)


def _sending(server: FhirServer, archive: Path, report: Path, *more: str) -> "subprocess.Popen[bytes]":
    """The command, one note a batch, while it runs."""
    arguments = [
        "send",
        server.url,
        "--archive",
        str(archive),
        "--batch",
        "1",
        "--report",
        str(report),
        *more,
    ]
    program = "from converter.cli.app import main; main()"
    return subprocess.Popen(
        [sys.executable, "-c", program, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ},
    )


def _wait_for_batches(report: Path, number: int) -> None:
    for _ in range(600):
        if report.exists() and f'"batch": {number},' in report.read_text(encoding="utf-8"):
            return
        time.sleep(0.05)
    raise AssertionError("the sender did not get that far")


NOTE = "id,system,patient,authored,text\nn1,urn:example:notes,p1,2031-03-04,{text}\n"


def test_a_changed_meaning_leaves_no_stale_finding(server: FhirServer, tmp_path: Path) -> None:
    status = "final" if "fhir_router.mjs" in str(server.command) else "preliminary"
    file, settings = tmp_path / "n.csv", tmp_path / "plexor.toml"
    file.write_text(NOTE.format(text='"Reflexes: L AJ 0, R AJ 2+. L KJ 3+."'))
    settings.write_text(f"[fhir]\nstatus = '{status}'\n")
    load(tmp_path, file, "--config", str(settings))
    archive = tmp_path / "a.duckdb"
    assert send(server, archive, "--config", str(settings)).status == 0
    assert _current(server, status) >= {"achilles-left", "achilles-right", "patellar-left"}

    words = "phrase, role, meaning, flags, source\naj, site, adductor, trigger override, x\n"
    (tmp_path / "ours.csv").write_text(words)
    settings.write_text(f"[fhir]\nstatus = '{status}'\n[vocabulary]\nfiles = ['ours.csv']\n")
    load(tmp_path, file, "--config", str(settings))
    ran = send(server, archive, "--config", str(settings))
    assert ran.status == 0, ran.out + ran.err
    held = _current(server, status)
    assert held >= {"adductor-left", "adductor-right", "patellar-left"}
    assert not {code for code in held if code.startswith("achilles")}
    taken_back = server.all("Observation", status="entered-in-error")
    gone = {one["code"]["coding"][-1]["code"]: one for one in taken_back}
    assert gone.keys() >= {"achilles-left", "achilles-right"}
    assert not any("valueCodeableConcept" in one or "component" in one for one in gone.values())
    _every_abnormality_rests_on_a_current_finding(server)


def test_a_corrected_value_is_corrected_where_it_had_been_final(stored: FhirServer, tmp_path: Path) -> None:
    file, settings = tmp_path / "n.csv", tmp_path / "plexor.toml"
    settings.write_text("[fhir]\nstatus = 'final'\n")
    for text in ("L AJ 0. R AJ 2+.", "L AJ 1. R AJ 2+."):
        file.write_text(NOTE.format(text=text))
        load(tmp_path, file, "--config", str(settings))
        assert send(stored, tmp_path / "a.duckdb", "--config", str(settings)).status == 0
    left = stored.all("Observation", code=f"{CODES}/reflex|achilles-left")
    assert [(one["status"], one["valueCodeableConcept"]["text"]) for one in left] == [("corrected", "1")]


def _current(server: FhirServer, status: str) -> set[str]:
    """The reflex and side, or the abnormality, of every Observation that stands as said or corrected."""
    found = [one for asked in (status, "corrected") for one in server.all("Observation", status=asked)]
    return {one["code"]["coding"][-1]["code"] for one in found}


def _every_abnormality_rests_on_a_current_finding(server: FhirServer) -> None:
    everything = server.all("Observation")
    current = {f"Observation/{one['id']}" for one in everything if one["status"] != "entered-in-error"}
    for one in everything:
        if one["status"] == "entered-in-error":
            continue
        wanted = [
            ref["reference"] for ref in one.get("derivedFrom", ()) if "Observation/" in ref["reference"]
        ]
        assert {ref[ref.index("Observation/") :] for ref in wanted} <= current, json.dumps(one)


def test_a_note_that_the_archive_lost_is_taken_back_where_asked(stored: FhirServer, tmp_path: Path) -> None:
    archive = loaded(tmp_path, "P-002-V1", "P-002-V2")
    ledger = ("--ledger", str(tmp_path / "ledger"))
    assert send(stored, archive, *ledger).status == 0
    archive.unlink()
    loaded(tmp_path, "P-002-V1")
    ran = send(stored, archive, *ledger)
    assert "1 note sent before and not in the archive any more: left as they are; --take-back" in ran.out
    assert _days_of_findings(stored) == {"2025-03-05", "2025-04-02"}
    ran = send(stored, archive, *ledger, "--take-back")
    assert ran.status == 0, ran.out + ran.err
    assert _days_of_findings(stored) == {"2025-03-05"}


def _days_of_findings(server: FhirServer) -> set[str]:
    return {one["effectiveDateTime"][:10] for one in server.all("Observation", status="preliminary")}
