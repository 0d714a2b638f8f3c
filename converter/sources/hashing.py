"""Short numbers that stand for longer values where only sameness matters, so that memory stays small."""

import hashlib


def short_number(*parts: object) -> int:
    """A 64-bit number; equal values give equal numbers, others practically never, in every run alike."""
    return int.from_bytes(hashlib.blake2b(repr(parts).encode(), digest_size=8).digest(), "big")
