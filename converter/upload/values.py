"""The values of an upload: the server, how patient we are with it, what is sent, and what it said.

Plain frozen values. The token stands in one place only, and is shown nowhere.
"""

from dataclasses import dataclass, field
from typing import Any

Json = dict[str, Any]


class UploadError(Exception):
    """The upload cannot be done, or not go on; one plain sentence without the token or text of any note."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Server:
    """A FHIR server.

    Attributes:
        address: base address without a final slash.
        token: bearer token, or None.
        loopback: whether it runs on this machine.
    """

    address: str
    token: str | None = field(default=None, repr=False)
    loopback: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long to go on with a server that does not take a batch.

    Attributes:
        attempts: how often one batch is sent at most.
        first_wait: seconds before the second attempt; each further wait is twice as long.
        longest_wait: seconds of a wait at most, also where the server asks for more.
        timeout: seconds to wait for an answer.
    """

    attempts: int = 6
    first_wait: float = 1.0
    longest_wait: float = 120.0
    timeout: float = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """What is to be sent for one note.

    Attributes:
        note: UUID of the note.
        system, id: its identity at the source.
        digest: of all that is sent, so that the same is not sent again.
        resources: the resources, with literal ids.
    """

    note: str
    system: str | None
    id: str | None
    digest: str
    resources: tuple[Json, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a server said about one resource.

    Attributes:
        batch: number of the batch, from 1.
        note_system, note_id: the note it belongs to.
        type, id: kind of the resource and our UUID of it.
        request: what was asked, e.g. `PUT Observation?identifier=...`.
        fate: `created`, `updated`, `refused`, `no-answer` where the server may or may not have taken it, or
            `would-be-sent`.
        status: the server's status for the resource, e.g. `201 Created`, or for all of the batch.
        location: where the server keeps it.
        etag: its version there.
        said: what the server explained, on one line; it may hold words of the note.
    """

    batch: int
    note_system: str | None
    note_id: str | None
    type: str
    id: str
    request: str
    fate: str
    status: str | None = None
    location: str | None = None
    etag: str | None = None
    said: str | None = None
