"""Segments of the way from the brain down, as names and as numbers that can be ordered."""

_SPANS = (("pons", 0, 1), ("C", 1, 8), ("T", 9, 12), ("L", 21, 5), ("S", 26, 5))


def number_of(segment: str) -> int:
    """Place of a segment: pons 0, C1 1, T1 9, L1 21, S1 26.

    Raises:
        ValueError: there is no such segment.
    """
    for letter, first, length in _SPANS:
        rest = segment.removeprefix(letter)
        if segment == letter == "pons":
            return first
        if rest != segment and rest.isdigit() and 1 <= int(rest) <= length:
            return first + int(rest) - 1
    raise ValueError(f"{segment!r} is no segment")


def name_of(number: int) -> str:
    """The segment at a place; the inverse of `number_of`."""
    for letter, first, length in _SPANS:
        if first <= number < first + length:
            return letter if letter == "pons" else f"{letter}{number - first + 1}"
    raise ValueError(f"{number} is no segment")
