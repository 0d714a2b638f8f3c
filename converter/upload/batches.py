"""Sends notes in batches, and finds out which note of a refused batch the server does not want.

Takes parcels, one a note; gives the answers, and remembers which notes were accepted whole.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice

from converter.upload.accepted import Accepted
from converter.upload.answers import NO_ANSWER, REFUSED, TAKEN, entry_answers, explained, same_answer
from converter.upload.client import Client, Reply
from converter.upload.values import Answer, Json, Parcel, UploadError

_HOPELESS = 3
"""So many notes in a row that fail inside the server end the upload: it is the server, not the notes."""


class Uploader:
    """Sends parcels in batches."""

    def __init__(
        self,
        client: Client,
        accepted: Accepted,
        bundle: Callable[[list[Json]], Json],
        text: Callable[[Json], str],
        batch_notes: int,
    ) -> None:
        """Make an uploader.

        Args:
            client: an open connection.
            accepted: remembers what the server took.
            bundle: makes a transaction of resources.
            text: writes it.
            batch_notes: notes in one transaction.
        """
        self._client = client
        self._accepted = accepted
        self._bundle = bundle
        self._text = text
        self._batch_notes = batch_notes
        self._batch = 0
        self._failing = 0

    def send(self, parcels: Iterable[Parcel]) -> Iterator[Answer]:
        """Send all parcels; give what the server said about each resource, as it says it.

        Raises:
            UploadError: the server cannot be reached, does not know us, or answers what is no answer; what
                it accepted before is remembered.
        """
        waiting = iter(parcels)
        while batch := list(islice(waiting, self._batch_notes)):
            yield from self._send(batch)

    def _send(self, parcels: Sequence[Parcel]) -> Iterator[Answer]:
        self._batch += 1
        number = self._batch
        bundle = self._bundle([resource for parcel in parcels for resource in parcel.resources])
        reply = self._client.post(self._text(bundle).encode("utf-8", errors="replace"))
        answers = entry_answers(number, parcels, bundle, reply)
        if answers is not None:
            self._failing = 0
            self._remember(parcels, answers)
            yield from answers
        elif 200 <= reply.status < 300:
            yield from same_answer(
                number, parcels, bundle, NO_ANSWER, str(reply.status), "no answer to a transaction"
            )
            raise UploadError("The server answers, but not as a FHIR server does to a transaction.")
        elif reply.busy:
            yield from same_answer(number, parcels, bundle, NO_ANSWER, _status(reply), reply.said)
            raise UploadError(_busy(reply))
        elif len(parcels) > 1:
            yield from self._one_by_one(parcels)
        else:
            yield from same_answer(number, parcels, bundle, REFUSED, _status(reply), explained(reply.body))
            self._count_failing(reply)

    def _one_by_one(self, parcels: Sequence[Parcel]) -> Iterator[Answer]:
        """A server takes a transaction whole or not at all; sent alone, only the faulty note is refused.

        Where none is refused alone, the batch was too large, and the next ones are half as large.
        """
        refused = False
        for parcel in parcels:
            for answer in self._send([parcel]):
                refused = refused or answer.fate not in TAKEN
                yield answer
        if not refused:
            self._batch_notes = max(1, len(parcels) // 2)

    def _remember(self, parcels: Sequence[Parcel], answers: Sequence[Answer]) -> None:
        refused = {(one.note_system, one.note_id) for one in answers if one.fate not in TAKEN}
        taken = [parcel for parcel in parcels if (parcel.system, parcel.id) not in refused]
        self._accepted.add((parcel.note, parcel.digest) for parcel in taken)

    def _count_failing(self, reply: Reply) -> None:
        self._failing = self._failing + 1 if reply.status >= 500 else 0
        if self._failing >= _HOPELESS:
            raise UploadError(f"The server fails on every note ({reply.status}); ask those who run it.")


def _status(reply: Reply) -> str | None:
    return str(reply.status) if reply.status else None


def _busy(reply: Reply) -> str:
    times = f"after {reply.attempts} attempts" if reply.attempts > 1 else "after one attempt"
    what = f"says that it has no time ({reply.status})" if reply.status else "cannot be reached"
    return f"The server {what}, {times}. What it took is kept; run the same command again to go on."
