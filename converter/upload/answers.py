"""Reads what a server said about a transaction: about each entry, or about all of them.

Takes the reply to a Bundle and the Bundle; gives one Answer for each resource. An answer that is no
transaction response is never taken for success.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from converter.upload.client import Reply
from converter.upload.values import Answer, Json, Parcel

CREATED, UPDATED, REFUSED, NO_ANSWER = "created", "updated", "refused", "no-answer"
TAKEN = frozenset({CREATED, UPDATED})
_LONGEST = 1000


def entry_answers(batch: int, parcels: Sequence[Parcel], bundle: Json, reply: Reply) -> list[Answer] | None:
    """What the server said about each entry of a Bundle; None where it did not say it entry by entry.

    A resource that several notes of the batch share, as the program's Device, is counted with the first.
    """
    body = reply.body
    if not 200 <= reply.status < 300 or not isinstance(body, dict):
        return None
    entries = body.get("entry")
    fits = body.get("resourceType") == "Bundle" and body.get("type") == "transaction-response"
    if not fits or not isinstance(entries, list) or len(entries) != len(bundle["entry"]):
        return None
    responses = [one.get("response") if isinstance(one, dict) else None for one in entries]
    owners = _owners(parcels)
    pairs = zip(bundle["entry"], responses, strict=True)
    return [_answer(batch, owners, asked, response) for asked, response in pairs]


def same_answer(
    batch: int, parcels: Sequence[Parcel], bundle: Json, fate: str, status: str | None, said: str | None
) -> Iterator[Answer]:
    """One answer for all entries of a Bundle."""
    owners = _owners(parcels)
    for asked in bundle["entry"]:
        parcel, kind, name = _whose(owners, asked)
        yield Answer(
            batch=batch,
            note_system=parcel.system,
            note_id=parcel.id,
            type=kind,
            id=name,
            request=_request(asked),
            fate=fate,
            status=status,
            said=said,
        )


def explained(body: Any) -> str | None:
    """What an OperationOutcome explains, on one line; None where it explains nothing."""
    if not isinstance(body, dict) or not isinstance(body.get("issue"), list):
        return None
    parts = [_issue(one) for one in body["issue"] if isinstance(one, dict)]
    text = "; ".join(part for part in parts if part)
    return " ".join(text.split())[:_LONGEST] or None


def _issue(issue: Json) -> str:
    details = issue.get("details")
    text = details.get("text") if isinstance(details, dict) else None
    where = issue.get("expression") or issue.get("location") or []
    parts = [issue.get("severity"), issue.get("code"), issue.get("diagnostics"), text]
    parts += where if isinstance(where, list) else []
    return " ".join(str(part) for part in parts if part)


def _owners(parcels: Sequence[Parcel]) -> dict[str, tuple[Parcel, str]]:
    """The note of each resource, by its UUID."""
    owners: dict[str, tuple[Parcel, str]] = {}
    for parcel in parcels:
        for resource in parcel.resources:
            owners.setdefault(resource["id"], (parcel, resource["resourceType"]))
    return owners


def _whose(owners: dict[str, tuple[Parcel, str]], asked: Json) -> tuple[Parcel, str, str]:
    name = asked["fullUrl"].removeprefix("urn:uuid:")
    parcel, kind = owners[name]
    return parcel, kind, name


def _answer(batch: int, owners: dict[str, tuple[Parcel, str]], asked: Json, response: Any) -> Answer:
    parcel, kind, name = _whose(owners, asked)
    said = response if isinstance(response, dict) else {}
    status = str(said.get("status") or "")
    return Answer(
        batch=batch,
        note_system=parcel.system,
        note_id=parcel.id,
        type=kind,
        id=name,
        request=_request(asked),
        fate=_fate(status),
        status=status or None,
        location=_text(said.get("location")),
        etag=_text(said.get("etag")),
        said=explained(said.get("outcome")),
    )


def _fate(status: str) -> str:
    if status.startswith("201"):
        return CREATED
    return UPDATED if status.startswith(("2", "304")) else REFUSED


def _request(asked: Json) -> str:
    return f"{asked['request']['method']} {asked['request']['url']}"


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None
