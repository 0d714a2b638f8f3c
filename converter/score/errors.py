"""The errors of a prediction, worst first: what puts wrong data into a database before what loses some."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from converter.score.claims import Claim, Words
from converter.score.files import Labelled, Predicted
from converter.score.measure import by_key, match

KINDS = ("false-alarm", "wrong-value", "not-labelled", "missed")
"""From the worst: found in a note without any finding; found with another value; found where the label has
nothing; not found."""


@dataclass(frozen=True, slots=True)
class ScoringError:
    """One difference between label and prediction.

    Attributes:
        note: identifier of the note.
        kind: one of KINDS.
        site, side: what it is about.
        labelled, predicted: the values, or None where there is none.
        distance: difference in grades where both are grades, else 0.
        quote: words of the note, of the prediction where it has them, else of the label.
    """

    note: str
    kind: str
    site: str
    side: str
    labelled: str | None
    predicted: str | None
    distance: float
    quote: str


def errors_of(
    gold: Mapping[str, Labelled], predicted: Mapping[str, Predicted], words: Words
) -> list[ScoringError]:
    """Every difference in the full, lenient measure, the worst first, then in the order of the notes."""
    found = [error for name in gold for error in _errors(name, gold, predicted, words)]
    return sorted(found, key=lambda error: (KINDS.index(error.kind), -error.distance))


def _errors(
    name: str, gold: Mapping[str, Labelled], predicted: Mapping[str, Predicted], words: Words
) -> Iterator[ScoringError]:
    labels = gold[name].findings
    found = predicted[name].findings if name in predicted else ()
    for (site, side), claims in by_key((labels, found), True, words).items():
        _, missed, extra = match(*claims)
        for place in range(max(len(missed), len(extra))):
            label = missed[place] if place < len(missed) else None
            guess = extra[place] if place < len(extra) else None
            yield ScoringError(
                note=name,
                kind=_kind(label, guess, alarm=not labels),
                site=site,
                side=side,
                labelled=str(label.value) if label else None,
                predicted=str(guess.value) if guess else None,
                distance=_distance(label, guess),
                quote=(guess.quote if guess else "") or (label.quote if label else ""),
            )


def _kind(label: Claim | None, guess: Claim | None, *, alarm: bool) -> str:
    if guess is None:
        return "missed"
    if label is not None:
        return "wrong-value"
    return "false-alarm" if alarm else "not-labelled"


def _distance(label: Claim | None, guess: Claim | None) -> float:
    if label is None or guess is None or label.value.low is None or guess.value.low is None:
        return 0.0
    return abs(label.value.low - guess.value.low)
