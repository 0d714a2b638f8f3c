"""Patience with a server, and never taking for accepted what it did not accept."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scripted_server import Json, Reply, Scripted, outcome, scripted, taken

from converter.upload import Accepted, Answer, Parcel, Patience, Server, Uploader, UploadError, open_client

Script = Callable[[int, Json], Reply]


def parcel(number: int, resources: int = 1) -> Parcel:
    made = tuple({"resourceType": "Observation", "id": f"o{number}-{place}"} for place in range(resources))
    return Parcel(
        note=f"note{number}", system="urn:example:notes", id=f"n{number}", digest="d", resources=made
    )


def bundle_of(resources: list[Json]) -> Json:
    entries = [
        {
            "fullUrl": f"urn:uuid:{one['id']}",
            "resource": one,
            "request": {"method": "PUT", "url": f"Observation?identifier=x|{one['id']}"},
        }
        for one in resources
    ]
    return {"resourceType": "Bundle", "type": "transaction", "entry": entries}


class Sent:
    """What came of sending."""

    def __init__(
        self, folder: Path, script: Script, notes: int = 1, batch: int = 1, attempts: int = 4
    ) -> None:
        self.waits: list[float] = []
        self.answers: list[Answer] = []
        self.error: str | None = None
        with scripted(script) as self.server:
            self._send(folder, self.server, notes, batch, attempts)
        with Accepted(folder, self.server.url, "base") as accepted:
            self.accepted = [n for n in range(notes) if accepted.has(f"note{n}", "d")]

    def _send(self, folder: Path, server: Scripted, notes: int, batch: int, attempts: int) -> None:
        patience = Patience(attempts=attempts, first_wait=1.0, longest_wait=60.0, timeout=10.0)
        where = Server(address=server.url, loopback=True)
        with (
            Accepted(folder, server.url, "base") as accepted,
            open_client(where, patience, self.waits.append) as client,
        ):
            uploader = Uploader(client, accepted, bundle_of, json.dumps, batch)
            try:
                self.answers.extend(uploader.send(parcel(n) for n in range(notes)))
            except UploadError as error:
                self.error = str(error)

    @property
    def fates(self) -> list[str]:
        return [answer.fate for answer in self.answers]


def after(times: int, reply: Reply) -> Script:
    return lambda number, bundle: reply if number <= times else taken(bundle)


@pytest.mark.parametrize("status", [429, 500, 502, 503, 504, 0])
def test_a_busy_server_is_asked_again_after_ever_longer_waits(tmp_path: Path, status: int) -> None:
    sent = Sent(tmp_path, after(3, outcome(status)))
    assert (sent.waits, sent.fates, sent.accepted) == ([1.0, 2.0, 4.0], ["created"], [0])


@pytest.mark.parametrize(
    ("headers", "waits"),
    [
        ({"Retry_After": "7"}, [7.0]),
        ({"Retry_After": "0"}, [1.0]),
        ({"Retry_After": "99999"}, [60.0]),
        ({"Date": "Mon, 03 Mar 2031 08:00:00 GMT", "Retry_After": "Mon, 03 Mar 2031 08:00:30 GMT"}, [30.0]),
        ({"Retry_After": "soon"}, [1.0]),
    ],
)
def test_a_server_that_says_when_is_asked_then(
    tmp_path: Path, headers: dict[str, str], waits: list[float]
) -> None:
    # RFC 9110, 10.2.3: seconds or a date, which counts from the server's own Date
    def script(number: int, bundle: Json) -> Reply:
        return taken(bundle) if number > 1 else (503, headers, b"")

    sent = Sent(tmp_path, script)
    assert (sent.fates, sent.waits) == (["created"], waits)


def test_patience_ends_and_what_was_taken_is_kept(tmp_path: Path) -> None:
    sent = Sent(tmp_path, lambda number, bundle: taken(bundle) if number == 1 else outcome(503), notes=3)
    assert sent.waits == [1.0, 2.0, 4.0]
    assert sent.fates == ["created", "no-answer"]
    assert sent.accepted == [0]
    assert sent.error is not None
    assert "has no time (503), after 4 attempts" in sent.error


def test_a_lost_line_leaves_it_open_whether_the_server_took_it(tmp_path: Path) -> None:
    sent = Sent(tmp_path, lambda number, bundle: outcome(0), attempts=2)
    assert (sent.fates, sent.accepted) == (["no-answer"], [])
    assert sent.answers[0].said is not None
    assert sent.answers[0].said.startswith("no answer (")
    assert sent.error is not None
    assert "cannot be reached" in sent.error


def test_only_the_faulty_note_of_a_batch_is_refused(tmp_path: Path) -> None:
    def script(number: int, bundle: Json) -> Reply:
        faulty = any(entry["resource"]["id"] == "o2-0" for entry in bundle["entry"])
        return outcome(422, "The value is odd.") if faulty else taken(bundle)

    sent = Sent(tmp_path, script, notes=5, batch=5)
    assert sent.fates == ["created", "created", "refused", "created", "created"]
    assert sent.accepted == [0, 1, 3, 4]
    assert (sent.answers[2].status, sent.answers[2].said) == ("422", "error processing The value is odd.")


def test_a_batch_that_is_too_large_is_halved(tmp_path: Path) -> None:
    def script(number: int, bundle: Json) -> Reply:
        return outcome(413) if len(bundle["entry"]) > 3 else taken(bundle)

    sent = Sent(tmp_path, script, notes=16, batch=6)
    sizes = [len(bundle["entry"]) for bundle in sent.server.bundles]
    assert sizes == [6, 1, 1, 1, 1, 1, 1, 3, 3, 3, 1]
    assert sent.accepted == list(range(16))


def test_a_note_with_one_refused_entry_is_not_accepted(tmp_path: Path) -> None:
    def script(number: int, bundle: Json) -> Reply:
        status, headers, body = taken(bundle)
        return status, headers, body.replace(b"201 Created", b"412 Precondition Failed")

    sent = Sent(tmp_path, script)
    assert (sent.fates, sent.accepted) == (["refused"], [])


@pytest.mark.parametrize(
    "body",
    [
        b"<html>Please log in</html>",
        b"",
        b"[]",
        b'{"resourceType": "Patient"}',
        b'{"resourceType": "Bundle", "type": "transaction-response"}',
        b'{"resourceType": "Bundle", "type": "transaction-response", "entry": []}',
        b'{"resourceType": "Bundle", "type": "batch-response", "entry": [{"response": {"status": "201"}}]}',
    ],
)
def test_what_is_no_answer_to_a_transaction_is_no_success(tmp_path: Path, body: bytes) -> None:
    sent = Sent(tmp_path, lambda number, bundle: (200, {}, body))
    assert (sent.fates, sent.accepted) == (["no-answer"], [])
    assert sent.error == "The server answers, but not as a FHIR server does to a transaction."


@pytest.mark.parametrize(
    "entry", [{}, {"response": None}, {"response": {}}, {"response": {"status": 201}}, 7]
)
def test_an_entry_without_a_status_is_not_taken(tmp_path: Path, entry: Any) -> None:
    body = json.dumps({"resourceType": "Bundle", "type": "transaction-response", "entry": [entry]}).encode()
    sent = Sent(tmp_path, lambda number, bundle: (200, {}, body))
    wanted = ["created"] if entry == {"response": {"status": 201}} else ["refused"]
    assert sent.fates == wanted
    assert sent.accepted == ([0] if wanted == ["created"] else [])


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (401, "refuses us (401)"),
        (403, "refuses us (403)"),
        (302, "is elsewhere (302)"),
        (404, "no transactions (404)"),
    ],
)
def test_a_server_that_takes_nothing_is_not_asked_again(tmp_path: Path, status: int, words: str) -> None:
    headers = {"Location": "http://127.0.0.1:1/elsewhere"} if status == 302 else {}
    sent = Sent(tmp_path, lambda number, bundle: (status, headers, b"{}"), notes=3)
    assert sent.error is not None
    assert words in sent.error
    assert (len(sent.server.bundles), sent.waits) == (1, [])


def test_a_server_that_fails_on_every_note_ends_the_upload(tmp_path: Path) -> None:
    sent = Sent(tmp_path, lambda number, bundle: outcome(500), notes=9, attempts=1)
    assert sent.fates == ["refused"] * 3
    assert sent.error == "The server fails on every note (500); ask those who run it."


def test_two_programs_do_not_send_with_one_ledger(tmp_path: Path) -> None:
    with Accepted(tmp_path, "http://a", "base"), pytest.raises(UploadError, match="another program"):
        Accepted(tmp_path, "http://a", "base")


def test_a_ledger_belongs_to_one_server_and_one_base(tmp_path: Path) -> None:
    Accepted(tmp_path, "http://a", "base").close()
    with pytest.raises(UploadError, match="is of http://a"):
        Accepted(tmp_path, "http://b", "base")
    with pytest.raises(UploadError, match="would be there twice"):
        Accepted(tmp_path, "http://a", "other")


def test_a_damaged_memory_is_said(tmp_path: Path) -> None:
    (tmp_path / "accepted.sqlite").write_bytes(b"no database" * 100)
    with pytest.raises(UploadError, match=r"accepted\.sqlite: cannot be used"):
        Accepted(tmp_path, "http://a", "base")
