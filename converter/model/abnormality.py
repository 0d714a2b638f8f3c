"""What is abnormal in one exam, and on which findings that rests."""

from dataclasses import dataclass

from converter.model.diagnostic import Diagnostic


@dataclass(frozen=True, slots=True, kw_only=True)
class Abnormality:
    """One abnormality that a rule found in one exam. It speaks of findings, never of a diagnosis.

    Attributes:
        abnormality: identifier, stable within the note, e.g. `side-difference-patellar-left-1`.
        exam: number of the exam.
        rule: kebab-case name of the rule.
        code: code in plexor's CodeSystem of abnormalities.
        sites: the reflexes or regions it concerns.
        side: `left`, `right`, `both` or `unspecified`; for a side difference the weaker side.
        level: `absent`, `low`, `high`, `clonus` or None.
        size: number of grades, for a difference.
        certainty: `stated` or `uncertain`.
        sentence: one plain sentence.
        rests_on: identifiers of the findings it rests on.
        source: where the rule comes from.
        hpo: term of the Human Phenotype Ontology, or None where it has none.
        hpo_label: that term's label.
        modifiers: HPO clinical modifiers, e.g. `HP:0012835` for left.
    """

    abnormality: str
    exam: int
    rule: str
    code: str
    sites: tuple[str, ...]
    side: str
    level: str | None = None
    size: float | None = None
    certainty: str = "stated"
    sentence: str
    rests_on: tuple[str, ...]
    source: str
    hpo: str | None = None
    hpo_label: str | None = None
    modifiers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NotExamined:
    """A reflex on a side that the exam does not document, or says was not tested.

    Attributes:
        site: the reflex.
        side: `left`, `right`, `both` or `unspecified`.
        reason: the note's own reason, `not documented`, or `side not stated`.
        finding: identifier of the finding that says so, or None.
    """

    site: str
    side: str
    reason: str
    finding: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """The abnormality summary of one exam.

    Attributes:
        exam: number of the exam.
        abnormalities: what the rules found.
        not_examined: what the exam is silent about.
        diagnostics: cautions about the exam itself, e.g. `mixed-plus`.
        caution: the sentence that every summary carries.
    """

    exam: int
    abnormalities: tuple[Abnormality, ...] = ()
    not_examined: tuple[NotExamined, ...] = ()
    diagnostics: tuple[Diagnostic, ...] = ()
    caution: str
