"""Findings, abnormalities and what was not examined, built anew from what may pass.

Takes the findings and abnormalities of one note; gives them with pseudonyms in place of identifiers, without
words and offsets. A finding whose reflex, side, kind or status is no name of the vocabulary is left out and
counted, since nothing sound is left of it.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from converter.exports.allowed import Allowed, known_code
from converter.exports.hpo import terms
from converter.exports.pseudonyms import Pseudonyms
from converter.model import Abnormality, Finding, NotExamined
from converter.words.anatomy import AbnormalityCode, shipped_knowledge

T = TypeVar("T")

_CHOSEN = ("grade_basis", "scale_basis", "level", "response", "comparison")
_MEANT = ("position", "technique", "quality")
_SIDE_WORDS = {"left": ", left", "right": ", right", "both": ", both sides"}


@dataclass(frozen=True, slots=True)
class FindingChanges:
    """Changes what was found in one note.

    Attributes:
        pseudonyms: by the site's key.
        allowed: what may pass.
        note: system and id of the note.
        counts: counts what is removed or altered.
    """

    pseudonyms: Pseudonyms
    allowed: Allowed
    note: tuple[str | None, str]
    counts: Counter[str]

    def findings(self, findings: Iterable[Finding]) -> tuple[Finding, ...]:
        """The findings that can be told without words of the note."""
        changed = [self._finding(finding) for finding in findings]
        self.counts["findings left out"] += changed.count(None)
        return tuple(finding for finding in changed if finding is not None)

    def abnormalities(self, abnormalities: Iterable[Abnormality]) -> tuple[Abnormality, ...]:
        """The abnormalities with a code that is known."""
        changed = [self._abnormality(one) for one in abnormalities]
        self.counts["abnormalities left out"] += changed.count(None)
        return tuple(one for one in changed if one is not None)

    def not_examined(self, reflexes: Iterable[NotExamined]) -> tuple[NotExamined, ...]:
        """What was not examined, with a canonical reason or none."""
        changed = []
        for one in reflexes:
            site, side = self.allowed.site(one.site), self.allowed.choice("side", one.side)
            if site is not None and side is not None:
                reason = self._counted("reasons removed", one.reason, self.allowed.reason(one.reason)) or ""
                name = None if one.finding is None else self._name("finding", one.finding)
                changed.append(NotExamined(site=site, side=side, reason=reason, finding=name))
        return tuple(changed)

    def _finding(self, f: Finding) -> Finding | None:
        may = self.allowed
        site, side = may.site(f.site), may.choice("side", f.side)
        kind, status = may.choice("kind", f.kind), may.choice("status", f.status)
        certainty = may.choice("certainty", f.certainty)
        if site is None or side is None or kind is None or status is None or certainty is None:
            return None
        return Finding(
            finding=self._name("finding", f.finding),
            exam=f.exam,
            site=site,
            which=self._kept(f.which, may.variant(site, f.which)),
            side=side,
            kind=kind,
            status=status,
            certainty=certainty,
            plus=may.choice("plus", f.plus) or "none",
            sustained=f.sustained if isinstance(f.sustained, bool) else None,
            negated=f.negated is True,
            reason=self._counted("reasons removed", f.reason, may.reason(f.reason)),
            as_written=self._counted("values as written removed", f.as_written, may.as_written(f.as_written)),
            start=0,
            end=0,
            quote="",
            **self._values(f),
        )

    def _values(self, f: Finding) -> dict[str, Any]:
        """Further fields of a finding, each past the check that it has."""
        may = self.allowed
        checks: Mapping[str, Callable[[object], object]] = {
            "root": may.root,
            "grade_low": may.grade,
            "grade_high": may.grade,
            "denominator": may.denominator,
            "scale": may.scale,
            "descriptor": may.descriptor,
            "beats": may.beats,
            "reinforcement": may.reinforcement,
            "manoeuvre": may.manoeuvre,
            **{name: partial(may.choice, name) for name in _CHOSEN},
            **{name: partial(may.meaning, name) for name in _MEANT},
        }
        return {name: self._kept(getattr(f, name), check(getattr(f, name))) for name, check in checks.items()}

    def _abnormality(self, one: Abnormality) -> Abnormality | None:
        code, side = known_code(one.code), self.allowed.choice("side", one.side)
        sites = tuple(site for site in one.sites if self.allowed.site(site) is not None)
        if code is None or side is None or not sites:
            return None
        about = shipped_knowledge().codes[code]
        term = next((term for term in about.hpo if term.term == one.hpo), None)
        return Abnormality(
            abnormality=self._name("abnormality", one.abnormality),
            exam=one.exam,
            rule=about.rule,
            code=code,
            sites=sites,
            side=side,
            level=self.allowed.choice("level", one.level),
            size=self.allowed.grade(one.size),
            certainty=self.allowed.choice("certainty", one.certainty) or "uncertain",
            sentence=self._sentence(about, sites, side),
            rests_on=tuple(self._name("finding", name) for name in one.rests_on),
            source=about.source,
            hpo=term.term if term else None,
            hpo_label=term.label if term else None,
            modifiers=tuple(name for name in one.modifiers if name in terms()),
        )

    def _sentence(self, about: AbnormalityCode, sites: tuple[str, ...], side: str) -> str:
        names = ", ".join(self.allowed.label(site) for site in sites)
        return f"{about.label}: {names}{_SIDE_WORDS.get(side, '')}."

    def _name(self, kind: str, value: str) -> str:
        return self.pseudonyms.name(kind, *self.note, value)

    def _kept(self, value: object, passed: T | None) -> T | None:
        return self._counted("other values removed", value, passed)

    def _counted(self, what: str, value: object, passed: T | None) -> T | None:
        self.counts[what] += value is not None and passed is None
        return passed
