"""Rule: a reflex differs between left and right, by its grades, by words, or as the examiner says.

A side difference is the stronger sign: 1+ to 3+ are normal unless asymmetric (Blumenfeld, neuroexam page).
A difference that rests on overlapping ranges, on a plus sign alone, or on a word that can stand for the other
side's number is possible, not sure.
"""

from collections import defaultdict
from collections.abc import Iterator

from converter.assess.exam_view import OTHER, ExamView
from converter.assess.making import (
    SIDE_WORDS,
    Draft,
    Found,
    abnormality,
    caution,
    grades,
    named,
    sorted_sites,
)
from converter.assess.strength import Compared
from converter.model import Abnormality, Diagnostic, Finding
from converter.words import expand

_WEAKER = {"first": "left", "second": "right"}
_WHY_POSSIBLE = {
    "plus": "the exam mixes grades with and without a plus, so the plus may be half a step",
    "range": "the ranges overlap",
    "word-and-number": "the word can stand for more than one grade",
    "words": "one side is given more than one word",
}


def side_differences(view: ExamView) -> Found:
    """Side differences by value, then those that the examiner states."""
    drafts = [*_by_value(view)]
    said, contradictions = _as_said(view)
    diagnostics = [*contradictions, *_not_compared(view)]
    if any(compared.why == "plus" and compared.outcome == "possible" for compared in view.compared.values()):
        diagnostics.append(_mixed_plus(view))
    return Found(tuple([abnormality(view, draft) for draft in drafts] + said), tuple(diagnostics))


def _by_value(view: ExamView) -> Iterator[Draft]:
    """One draft for each group of reflexes that differ alike on the same findings."""
    groups: dict[tuple[object, ...], list[str]] = defaultdict(list)
    for site, compared in view.compared.items():
        if compared.outcome in ("sure", "possible"):
            groups[compared, _rests_on(view, site)].append(site)
    for sites in groups.values():
        yield _draft(view, sorted_sites(view, sites), view.compared[sites[0]])


def _draft(view: ExamView, sites: tuple[str, ...], compared: Compared) -> Draft:
    left, right = view.strengths[sites[0], "left"], view.strengths[sites[0], "right"]
    side = _WEAKER.get(compared.weaker or "", "unspecified")
    sure = compared.outcome == "sure"
    values = f"left {left.short}, right {right.short}"
    name = named(view, sites)
    if sure:
        size = _size_in_words(view, compared)
        sentence = f"Side difference of the {name}: weaker {SIDE_WORDS[side]}{size} ({values})."
    else:
        sentence = f"The {name} may differ between the sides ({values}): {_WHY_POSSIBLE[compared.why]}."
    return Draft(
        code="side-difference" if sure else "possible-side-difference",
        sites=sites,
        side=side,
        sentence=sentence,
        rests_on=_rests_on(view, sites[0]),
        size=compared.size if sure else None,
        certain=sure and left.certain and right.certain,
    )


def _size_in_words(view: ExamView, compared: Compared) -> str:
    if compared.size is None:
        return ""
    least = "at least " if compared.size != compared.size_at_most else ""
    marked = ", marked" if compared.size >= view.options.marked else ""
    return f" by {least}{grades(compared.size)}{marked}"


def _rests_on(view: ExamView, site: str) -> tuple[str, ...]:
    return view.strengths[site, "left"].rests_on + view.strengths[site, "right"].rests_on


def _as_said(view: ExamView) -> tuple[list[Abnormality], list[Diagnostic]]:
    """Differences that the examiner states by comparing, unless the values already show them."""
    found, contradictions = [], []
    for finding in view.findings:
        weaker = said_weaker(finding)
        sites = {row.site for row in expand([finding], view.vocabulary)}
        shown = {view.compared[site] for site in sites if site in view.compared}
        if weaker is None:
            if _says_equal(finding) and any(compared.outcome == "sure" for compared in shown):
                contradictions.append(_contradiction(view, finding))
            continue
        agrees = any(_agrees(compared, weaker) for compared in shown)
        settled = bool(shown) and all(c.outcome in ("sure", "same") and c.why != "one-value" for c in shown)
        if settled and not agrees and weaker != "unspecified":
            contradictions.append(_contradiction(view, finding))
        if not agrees:
            found.append(_said(view, finding, weaker))
    return found, contradictions


def _agrees(compared: Compared, weaker: str) -> bool:
    """The values show the difference that the examiner states."""
    return compared.outcome == "sure" and weaker in (_WEAKER.get(compared.weaker or ""), "unspecified")


def said_weaker(finding: Finding) -> str | None:
    """The side that the examiner calls weaker, `unspecified` where only a difference is stated, or None."""
    if finding.kind != "stretch" or finding.negated:
        return None
    if finding.comparison == "greater_than_other_side":
        return OTHER.get(finding.side, "unspecified")
    if finding.comparison == "less_than_other_side":
        return finding.side if finding.side in OTHER else "unspecified"
    return "unspecified" if finding.descriptor == "asymmetric" else None


def _says_equal(finding: Finding) -> bool:
    said = finding.comparison == "equal" or finding.descriptor == "symmetric"
    return said and finding.kind == "stretch" and not finding.negated


def _said(view: ExamView, finding: Finding, weaker: str) -> Abnormality:
    which = "which side is not stated" if weaker == "unspecified" else f"weaker {SIDE_WORDS[weaker]}"
    draft = Draft(
        code="side-difference",
        sites=(finding.site,),
        side=weaker,
        sentence=f"The examiner states a side difference of the {view.name(finding.site)}: {which}, "
        "without a number of grades.",
        rests_on=(finding.finding,),
        certain=finding.certainty == "stated",
    )
    return abnormality(view, draft)


def _contradiction(view: ExamView, finding: Finding) -> Diagnostic:
    return caution(
        "comparison-contradicts-grades",
        f"What the note says of the two sides of the {view.name(finding.site)} "
        "does not agree with the values it gives",
        [finding],
        hint="check the note; both are kept as written",
    )


def _not_compared(view: ExamView) -> Iterator[Diagnostic]:
    reasons = {
        "scales": "they are graded on different scales",
        "no-table": "a word among them has no stated order",
    }
    for site, compared in view.compared.items():
        if compared.outcome == "unknown":
            both = view.strengths[site, "left"].findings + view.strengths[site, "right"].findings
            yield caution(
                "sides-not-compared",
                f"The two sides of the {view.name(site)} were not compared: {reasons[compared.why]}",
                both,
            )


def _mixed_plus(view: ExamView) -> Diagnostic:
    graded = [finding for finding in view.findings if finding.scale in view.mixed]
    return caution(
        "mixed-plus",
        "The exam writes grades with and without a plus; a side difference resting on the plus is uncertain",
        graded,
        hint="by convention 2 and 2+ are one grade, but some examiners use the plus as half a step",
    )
