"""How a site writes its notes, as far as the reader has to be told."""

from dataclasses import dataclass

ROWS = ("elbow_unspecified", "brachioradialis", "patellar", "achilles")
"""What the rows of a drawn figure stand for, from the top: elbow, wrist, knee and ankle."""


@dataclass(frozen=True, slots=True)
class ReadingOptions:
    """How a site writes.

    Attributes:
        default_scale: the scale that reads grades where the note names none, or None for the bedside scale.
        pair_order: `right-left` or `left-right`, for pairs without a header.
        figure_rows: what the rows of a drawn figure stand for, from the top.
        without_rules: names of grammar rules to leave out; for tests.
    """

    default_scale: str | None = None
    pair_order: str = "right-left"
    figure_rows: tuple[str, ...] = ROWS
    without_rules: frozenset[str] = frozenset()


AS_USUAL = ReadingOptions()
"""What holds where a site says nothing."""
