"""What each address of the page does.

Takes what was asked as plain values; gives HTML or the address to go to. A decision that was saved always
leads on by a redirect, so that reloading a page or going back never decides twice.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from converter.model import Amendment
from converter.review import KINDS, VERDICT_WORDS, Question, Subject
from converter.review.showing import visible
from converter.review_page import answers, views
from converter.review_page.desk import Desk, subject_named
from converter.review_page.rendering import address, render
from converter.review_page.values import DecidedError, GoneError, Looked, MistakesError
from converter.review_page.views import Form


@dataclass(frozen=True, slots=True)
class Asked:
    """A request, as plain values.

    Attributes:
        name: name of the question in the path.
        path: the whole path.
        query: what stands after the question mark.
        form: the fields that were sent.
    """

    name: str = ""
    path: str = ""
    query: Mapping[str, str] = field(default_factory=dict)
    form: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Answer:
    """What comes back.

    Attributes:
        html: the page.
        status: HTTP status.
        to: the address to go to instead.
    """

    html: str = ""
    status: int = 200
    to: str = ""


class Pages:
    """The pages over one desk.

    Attributes:
        base: the path that every address begins with.
    """

    def __init__(self, desk: Desk, base: str) -> None:
        self.base = base
        self._desk = desk

    def overview(self, asked: Asked) -> Answer:
        """How much there is to look at, and where to begin."""
        return self._shown("overview", views.overview(self._desk, self.base), asked)

    def decisions(self, asked: Asked) -> Answer:
        """The decisions in the archive."""
        return self._shown("decisions", views.decisions(self._desk, self.base), asked)

    def next(self, asked: Asked) -> Answer:
        """The next open question, or back to the overview when none is left."""
        after = self._desk.find(asked.query["after"]) if asked.query.get("after") else None
        return self._on(after, _kind(asked.query), asked.query.get("done", ""))

    def make_anew(self, _: Asked) -> Answer:
        """The queue, made anew from the archive as it is now."""
        self._desk.prepare()
        return Answer(to=address(self.base, ""))

    def question(self, asked: Asked) -> Answer:
        """A question with its note."""
        return self._question(asked, asked.query)

    def correct(self, asked: Asked) -> Answer:
        """A question with the form that corrects one finding."""
        key = asked.query.get("place", "")
        looked = self._desk.look(self._desk.find(asked.name))
        if subject_named(looked, key).finding is None:
            raise GoneError("There is no finding at this place to correct; add one instead.")
        return self._question(asked, asked.query, Form(key=key, answers={}))

    def add(self, asked: Asked) -> Answer:
        """A question with the form that adds a finding; words marked in the note are filled in."""
        return self._question(asked, asked.query, Form(key="", answers=self._words_for(asked)))

    def decide(self, asked: Asked) -> Answer:
        """Confirm or reject one place, or all that are open."""
        question = self._desk.find(asked.name)
        verdict = asked.form.get("verdict", "")
        keys = asked.form.get("places", "").split()
        if verdict not in ("confirm", "reject") or not keys:
            raise GoneError("The form was not complete; nothing was saved.")

        def make(looked: Looked, subject: Subject) -> Amendment:
            return answers.judged(looked, subject, verdict, self._desk.review)

        return self._save(asked, question, lambda: self._desk.decide(question, keys, _seen(asked), make))

    def save_correction(self, asked: Asked) -> Answer:
        """Save a corrected finding."""
        question, key = self._desk.find(asked.name), asked.form.get("place", "")

        def make(looked: Looked, subject: Subject) -> Amendment:
            return answers.corrected(looked, subject, asked.form, self._desk.review)

        save = lambda: self._desk.decide(question, [key], _seen(asked), make)  # noqa: E731 - said in one line
        return self._save(asked, question, save, key)

    def save_addition(self, asked: Asked) -> Answer:
        """Save a finding that was missed."""
        question = self._desk.find(asked.name)

        def make(looked: Looked) -> Amendment:
            return answers.added(looked, asked.form, self._desk.review)

        return self._save(asked, question, lambda: [self._desk.add(question, make)])

    def undo(self, asked: Asked) -> Answer:
        """Take a decision back and show its question again."""
        try:
            number = int(asked.form.get("number", ""))
        except ValueError:
            raise GoneError("There is no decision to undo.") from None
        undone = self._desk.undo(number)
        question = self._desk.question_of(undone)
        kind = _kind(asked.form)
        if asked.form.get("list") or question is None:
            return Answer(to=address(self.base, "decisions", done=number))
        return Answer(to=address(self.base, "question", question.question, show=kind, done=number))

    def _save(
        self, asked: Asked, question: Question, save: Callable[[], Sequence[int]], key: str = ""
    ) -> Answer:
        """Save, and go on; or show the page again and say why not."""
        try:
            numbers = save()
        except MistakesError as error:
            form = Form(key=key, answers=asked.form, mistakes=error.mistakes)
            return self._question(asked, asked.form, form, status=422)
        except DecidedError as error:
            return self._question(asked, asked.form, alarm=_meanwhile(error), status=409)
        done = ",".join(map(str, numbers))
        looked = self._desk.look(question)
        if views.is_settled(looked):
            return self._on(question, _kind(asked.form), done)
        return Answer(to=address(self.base, "question", question.question, show=_kind(asked.form), done=done))

    def _on(self, after: Question | None, kind: str, done: str) -> Answer:
        following = self._desk.next_open(after, kind)
        if following is None:
            return Answer(to=address(self.base, "", done=done))
        return Answer(to=address(self.base, "question", following.question, show=kind, done=done))

    def _question(
        self,
        asked: Asked,
        given: Mapping[str, str],
        form: Form | None = None,
        alarm: str = "",
        status: int = 200,
    ) -> Answer:
        looked = self._desk.look(self._desk.find(asked.name))
        shown = views.question_page(
            self._desk,
            looked,
            self.base,
            kind=_kind(given),
            at=given.get("place", ""),
            whole=given.get("whole") == "yes",
            form=form,
        )
        return self._shown("question", shown | {"alarm": alarm}, asked, status)

    def _shown(self, template: str, shown: Mapping[str, object], asked: Asked, status: int = 200) -> Answer:
        said = views.said_of(self._desk, _numbers(asked.query.get("done", "")))
        return Answer(html=render(template, **{**shown, "said": said}), status=status)

    def _words_for(self, asked: Asked) -> dict[str, str]:
        """What the form to add begins with: words marked in the note, else the unread ones in question."""
        if asked.query.get("words"):
            return {"words": asked.query["words"], "near": asked.query.get("near", "")}
        looked = self._desk.look(self._desk.find(asked.name))
        key = asked.query.get("place", "")
        if not key or not looked.note.text:
            return {}
        subject = subject_named(looked, key)
        words = looked.note.text[subject.start : subject.end]
        shown = visible(" ".join(words.split()))
        return {"words": shown, "near": str(subject.start)} if subject.finding is None else {}


def _kind(given: Mapping[str, str]) -> str:
    kind = given.get("show", "")
    return kind if kind in KINDS else ""


def _seen(asked: Asked) -> int:
    return next(iter(_numbers(asked.form.get("seen", ""))), 0)


def _numbers(text: str) -> list[int]:
    return [int(one) for one in text.split(",") if one.isascii() and one.isdigit() and len(one) < 16]


def _meanwhile(error: DecidedError) -> str:
    decision = error.decision
    said = VERDICT_WORDS[decision.verdict].lower()
    return (
        f"{decision.by} decided on this place while you looked at it ({said}, {views.moment(decision.at)}). "
        "Your decision was not saved. Undo theirs first if you disagree."
    )
