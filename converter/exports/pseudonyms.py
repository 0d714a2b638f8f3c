"""The key of a site, and what is made of it: pseudonyms for identifiers, and days by which dates are shifted.

Takes a file that only its owner may read; gives a Pseudonyms. All is HMAC-SHA256 (RFC 2104, FIPS 198-1): the
same key and name always give the same pseudonym, and without the key nothing leads back. The key itself never
leaves this module.
"""

import hmac
import json
import os
import stat
from pathlib import Path
from uuid import UUID

from converter.exports.values import ExportError

SHORTEST_KEY = 32
"""Bytes; as long as the output of SHA-256, which RFC 2104 section 3 recommends as the least."""
LONGEST_SHIFT = 365
_LARGEST_FILE = 4096
_FEWEST_BYTES = 8
"""How many different bytes a key has at least; fewer were typed, not drawn."""
_MAKE_ONE = "make one with: (umask 077; openssl rand -hex 32 > FILE)"


class Pseudonyms:
    """Names that stand in for others, by one key."""

    def __init__(self, key: bytes) -> None:
        """Keep the key.

        Raises:
            ExportError: the key is too short, or no random one.
        """
        if len(key) < SHORTEST_KEY:
            raise ExportError(
                f"the key has {len(key)} bytes, but needs {SHORTEST_KEY} at least; {_MAKE_ONE}."
            )
        if len(set(key)) < _FEWEST_BYTES:
            raise ExportError(f"the key repeats a few characters, so it can be guessed; {_MAKE_ONE}.")
        self._key = key

    def __repr__(self) -> str:
        return "Pseudonyms(key withheld)"

    def name(self, kind: str, *parts: str | None) -> str:
        """The pseudonym of an identifier, 32 hexadecimal digits behind the first letter of its kind.

        Args:
            kind: what it names, e.g. `patient`; the same identifier has another pseudonym in another kind.
            parts: the identifier, and what it is unique in.
        """
        return f"{kind[0]}-{self._digest(kind, parts).hex()[:32]}"

    def digest(self, kind: str, *parts: str | None) -> str:
        """What stands in for a hash: 64 hexadecimal digits."""
        return self._digest(kind, parts).hex()

    def uri(self, kind: str, *parts: str | None) -> str:
        """The pseudonym of a URI, itself a URI."""
        return UUID(bytes=self._digest(kind, parts)[:16], version=4).urn

    def days(self, *parts: str | None) -> int:
        """By how many days the dates of a patient are moved back, from 1 to 365."""
        return 1 + int.from_bytes(self._digest("shift", parts), "big") % LONGEST_SHIFT

    def check(self) -> str:
        """Eight digits that tell two keys apart and give away neither."""
        return self._digest("check", ()).hex()[:8]

    def _digest(self, kind: str, parts: tuple[str | None, ...]) -> bytes:
        said = json.dumps([kind, *parts], ensure_ascii=True, separators=(",", ":"))
        return hmac.digest(self._key, said.encode("ascii"), "sha256")


def read_key(file: Path) -> Pseudonyms:
    """The pseudonyms by the key in a file, without a line end behind it.

    Raises:
        ExportError: the file is no ordinary one, others than its owner may read or write it, it belongs to
            somebody else, or the key will not do.
        OSError: it cannot be read.
    """
    descriptor = os.open(file, os.O_RDONLY | os.O_NONBLOCK)
    try:
        _check_owner_only(file, os.fstat(descriptor))
        content = os.read(descriptor, _LARGEST_FILE + 1)
    finally:
        os.close(descriptor)
    if len(content) > _LARGEST_FILE:
        raise ExportError(f"{file}: is too long for a key; {_MAKE_ONE}.")
    try:
        return Pseudonyms(content.rstrip(b"\r\n"))
    except ExportError as error:
        raise ExportError(f"{file}: {error}") from None


def _check_owner_only(file: Path, about: os.stat_result) -> None:
    if not stat.S_ISREG(about.st_mode):
        raise ExportError(f"{file}: is no ordinary file, so it cannot keep a key.")
    if about.st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise ExportError(f"{file}: others than its owner may use the key; run chmod 600 on it.")
    if about.st_uid != os.geteuid():
        raise ExportError(f"{file}: belongs to somebody else, who could read or change the key.")
