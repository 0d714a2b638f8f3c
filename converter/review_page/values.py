"""The values of the review page: who reviews what, what stands before a person, what can go wrong."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from converter.api import Session
from converter.model import Amendment, Note, Reading
from converter.review import Question
from converter.review.places import Place
from converter.review.sample_places import SamplePlace


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """What is reviewed, and by whom.

    Attributes:
        archive: the archive file.
        session: the words and rules that a changed reading is assessed with.
        by: identifier of the person who reviews.
        now: gives the time as an ISO 8601 instant; asked once for each decision.
        sample: a drawn sample to look at instead of the queue; None for the queue.
        patience: seconds to wait for an archive that another program has open.
    """

    archive: Path
    session: Session
    by: str
    now: Callable[[], str]
    sample: tuple[SamplePlace, ...] | None = None
    patience: float = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """A question with everything that a person needs to see.

    Attributes:
        question: the question.
        note: the note; its text is empty where the archive keeps none.
        reading: as it was read.
        amendments: of this note and text, in the order of their numbers, undone ones among them.
        left: those that stand and do not fit what is read now.
    """

    question: Question
    note: Note
    reading: Reading
    amendments: tuple[Amendment, ...]
    left: tuple[Amendment, ...] = ()

    @property
    def holding(self) -> tuple[Amendment, ...]:
        """The amendments without those that do not fit any more; they settle places."""
        return tuple(one for one in self.amendments if one not in self.left)

    @property
    def seen(self) -> int:
        """The number of the last amendment of the note, undone or not; 0 where there is none."""
        return max((one.number or 0 for one in self.amendments), default=0)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a person has come.

    Attributes:
        total: questions.
        left: questions with a place that is open.
        left_by_kind: those, by kind.
    """

    total: int
    left: int
    left_by_kind: dict[str, int]

    @property
    def done(self) -> int:
        """Questions that are settled."""
        return self.total - self.left


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong with one answer.

    Attributes:
        field: name of the answer.
        sentence: what to do about it.
        places: where the words stand, when a person has to choose among several places.
    """

    field: str
    sentence: str
    places: tuple[Place, ...] = ()


class MistakesError(Exception):
    """Some answers cannot be used; `mistakes` says why."""

    def __init__(self, mistakes: list[Mistake]) -> None:
        super().__init__("some answers cannot be used")
        self.mistakes = mistakes


class GoneError(Exception):
    """What was asked for is not there, or not as it was; the message is one sentence."""


class DecidedError(Exception):
    """Somebody decided on the place meanwhile; `decision` is theirs."""

    def __init__(self, decision: Amendment) -> None:
        super().__init__("somebody decided on this place meanwhile")
        self.decision = decision
