"""What the text of one note counts for: headings of the examination, and wording that can be compared.

Takes the text and the places of the findings; gives marks and fingerprints. No text leaves this module.
"""

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache

from converter.audit.figures import headings
from converter.model import Finding

_LEAST_WORDS = 6
"""Shorter reflex wording, such as "DTRs 2+ throughout", repeats without being copied."""

_SEGMENT = re.compile(r"[^\n.;]+(?:[.;](?!\s|$)[^\n.;]+)*[.;]?")
_LEAD = r"^[\s\-*\u2022#>]*(?:(?:[SOAP]|PE|O/E|Exam(?:ination)?)\s*:\s*)?(?:\d+[.)]\s*)?"


def heading_marks(text: str) -> frozenset[str]:
    """The parts of an examination whose heading or opening word the text has, as `heading-motor`."""
    segments = _segments(text)
    return frozenset(
        f"heading-{name}"
        for name, pattern in _patterns().items()
        if any(pattern.search(text[start:end]) for start, end in segments)
    )


def fingerprints(text: str, findings: Iterable[Finding]) -> tuple[str | None, str | None]:
    """Fingerprints of the reflex wording and of the other parts of the examination.

    Args:
        text: the text of the note.
        findings: the note's current findings.

    Returns:
        The fingerprint of each; None for reflex wording of fewer than six words, and for a note without other
        parts. Letter case and white space do not matter.
    """
    places = [(span.start, span.end) for finding in findings for span in finding.spans]
    reflexes, others = [], []
    for start, end in _segments(text):
        piece = text[start:end]
        if any(first < end and last > start for first, last in places):
            reflexes.append(piece)
        elif any(pattern.search(piece) for pattern in _patterns().values()):
            others.append(piece)
    words = _plain(reflexes)
    return (
        _fingerprint(words) if len(words) >= _LEAST_WORDS else None,
        _fingerprint(_plain(others)) if others else None,
    )


def _segments(text: str) -> list[tuple[int, int]]:
    """Lines and sentences; a full stop or semicolon inside a word ends none."""
    return [found.span() for found in _SEGMENT.finditer(text) if found.group().strip()]


def _plain(pieces: Iterable[str]) -> list[str]:
    return " ".join(pieces).casefold().split()


def _fingerprint(words: Iterable[str]) -> str:
    return hashlib.sha256(" ".join(words).encode()).hexdigest()


@cache
def _patterns() -> Mapping[str, re.Pattern[str]]:
    return {
        name: re.compile("|".join(_forms(words)), re.IGNORECASE) for name, (_, words) in headings().items()
    }


def _forms(words: Iterable[str]) -> Iterator[str]:
    """A wording at the start of a segment, or anywhere right before a colon."""
    for word in sorted(words, key=len, reverse=True):
        escaped = re.escape(word).replace(r"\ ", r"\s+")
        yield rf"{_LEAD}{escaped}(?![\w/])"
        yield rf"(?<![\w/]){escaped}\s*:"
