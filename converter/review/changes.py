"""What changed between two readings of the same notes: what appeared, vanished or says something else."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any

from converter.model import Finding, Reading
from converter.model.record import finding_to_record

Key = tuple[str | None, str]
_FIELDS = tuple(field.name for field in fields(Finding) if field.name != "finding")


@dataclass(frozen=True, slots=True)
class ChangedFinding:
    """One finding that is not the same in both readings.

    Attributes:
        system, id: the note.
        finding: identifier of the finding.
        change: `changed`, `appeared` or `vanished`.
        old: the finding before, or None.
        new: the finding now, or None.
        fields: for a changed one, each field with its value before and now.
    """

    system: str | None
    id: str
    finding: str
    change: str
    old: Finding | None
    new: Finding | None
    fields: Mapping[str, tuple[Any, Any]]


@dataclass(frozen=True, slots=True)
class Changes:
    """How two readings of the same notes differ.

    Attributes:
        findings: those that are not the same, in the order of the new notes.
        same: number of findings that are the same.
        notes: number of notes in both.
        only_old: notes that only the old reading has.
        only_new: notes that only the new reading has; their findings are not counted as appeared.
        other_text: notes whose text is not the same in both, so that places may have moved.
        old_vocabulary: fingerprints of the vocabularies that the old reading was made with.
        new_vocabulary: fingerprints of those of the new one.
    """

    findings: tuple[ChangedFinding, ...]
    same: int
    notes: int
    only_old: tuple[Key, ...]
    only_new: tuple[Key, ...]
    other_text: tuple[Key, ...]
    old_vocabulary: tuple[str, ...]
    new_vocabulary: tuple[str, ...]


def changes_between(old: Iterable[Reading], new: Iterable[Reading]) -> Changes:
    """Compare two readings note by note and finding by finding.

    Notes are told apart by system and id, findings by their identifier within the note. Where a note stands
    in a reading twice, its last place counts.
    """
    before = {(one.system, one.id): one for one in old}
    now = {(one.system, one.id): one for one in new}
    both = [key for key in now if key in before]
    findings = [found for key in both for found in _changed(before[key], now[key])]
    changed = sum(found.change != "vanished" for found in findings)
    return Changes(
        findings=tuple(findings),
        same=sum(len(now[key].findings) for key in both) - changed,
        notes=len(both),
        only_old=tuple(key for key in before if key not in now),
        only_new=tuple(key for key in now if key not in before),
        other_text=tuple(key for key in both if before[key].note_hash != now[key].note_hash),
        old_vocabulary=tuple(sorted({one.vocabulary for one in before.values()})),
        new_vocabulary=tuple(sorted({one.vocabulary for one in now.values()})),
    )


def _changed(old: Reading, new: Reading) -> Iterable[ChangedFinding]:
    before = {finding.finding: finding for finding in old.findings}
    now = {finding.finding: finding for finding in new.findings}
    for name in [*now, *(name for name in before if name not in now)]:
        differing = _differing(before.get(name), now.get(name))
        if differing is None:
            continue
        change = "appeared" if name not in before else "vanished" if name not in now else "changed"
        yield ChangedFinding(new.system, new.id, name, change, before.get(name), now.get(name), differing)


def _differing(old: Finding | None, new: Finding | None) -> dict[str, tuple[Any, Any]] | None:
    """The fields that differ; empty where one of the two is missing, None where both are the same."""
    if old is None or new is None:
        return {}
    before, now = finding_to_record(old), finding_to_record(new)
    differing = {name: (before[name], now[name]) for name in _FIELDS if before[name] != now[name]}
    return differing or None
