"""Short numbers that stand for longer values where only sameness matters, so that memory stays small."""

from hashlib import blake2b


def short_number(*parts: object) -> int:
    """A 64-bit number; equal values give equal numbers, others practically never, in every run alike."""
    return int.from_bytes(blake2b(repr(parts).encode(), digest_size=8).digest(), "big")
