"""Exports of an archive, beside `api`: joins the archive, FHIR and the targets of `exports`.

Takes an archive, what chooses its notes, and a target; gives the folder's manifest. Each target is made here
by a function of its own from the choices of the command line; writing it belongs to `exports`.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.api import Session, convert, has_text
from converter.assess import CAUTION

if TYPE_CHECKING:
    from converter.archive import Archive, FindQuery
    from converter.exports import Common, Manifest, Read, Target
    from converter.model import Diagnostic, Note

Choices = Mapping[str, Any]
"""A target's own options by the names of their parameters; those not given are missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """What chooses the notes.

    Attributes:
        query: as `find` takes it; its limit bounds the notes.
        by_findings: whether a note must hold a finding that answers, even where the query asks nothing of
            findings beyond their usual status.
        filters: the same in the words of the command line, for the manifest.
    """

    query: "FindQuery"
    by_findings: bool = False
    filters: Mapping[str, Any]


def export(
    archive: Path | str,
    folder: Path,
    chosen: Chosen,
    make: "Callable[[Archive], Target]",
    session: Session,
    force: bool = False,
    tell: "Callable[[Diagnostic, Note | None], None] | None" = None,
) -> "Manifest":
    """Export the chosen notes of an archive to a folder.

    Args:
        archive: the file.
        folder: where the export ends up; see `exports.export`.
        chosen: what chooses the notes.
        make: makes the target, once the archive is open.
        session: says program, vocabulary and time.
        force: replace an earlier export.
        tell: called with what is doubtful.

    Raises:
        ArchiveError: there is no such archive, or the query contradicts itself.
        ExportError: the folder cannot be used, or a choice does not fit.
        OSError: a file cannot be written.
    """
    from converter import exports
    from converter.archive import Cohort, open_archive

    with open_archive(archive, read_only=True) as opened:
        cohort = Cohort(opened, chosen.query, chosen.by_findings)
        common = _common(session, chosen, cohort.state(), has_text(opened))
        return exports.export(make(opened), cohort.reads, folder, common, force, tell=tell)


def _common(session: Session, chosen: Chosen, state: str, words_kept: bool) -> "Common":
    from converter.exports import Common

    return Common(
        program=session.program,
        vocabulary=session.vocabulary.fingerprint,
        caution=CAUTION,
        made=session.time,
        filters=chosen.filters,
        state=state,
        words_kept=words_kept,
    )


def target_of(name: str, choices: Choices, session: Session) -> "Callable[[Archive], Target]":
    """What makes a target, by its name and choices.

    Raises:
        ExportError: there is no such target, or a choice does not fit it.
    """
    from converter.exports import ExportError

    if name not in TARGETS:
        raise ExportError(f"--to {name}: there is no such target; choose from {', '.join(TARGETS)}.")
    make, known = TARGETS[name]
    for choice in choices:
        if choice not in known:
            option = choice.strip("_").replace("_", "-")
            raise ExportError(f"--{option}: does not belong to --to {name}; leave it out.")
    return lambda archive: make(choices, session, archive)


def _fhir(choices: Choices, session: Session, archive: "Archive") -> "Target":
    from converter.exports.fhir import FhirTarget
    from converter.fhir import json_text, transaction, xml_text

    form, syntax = choices.get("form", "ndjson"), choices.get("syntax", "json")
    _check_fhir(form, syntax, choices)
    quotes = choices.get("quotes", session.fhir.quotes) and has_text(archive)
    options = replace(
        session.fhir,
        release=choices.get("release", session.fhir.release),
        expand=choices.get("expand", session.fhir.expand),
        quotes=quotes,
    )
    rendering = replace(session, fhir=options)

    return FhirTarget(
        render=lambda reads: _rendered(reads, archive, rendering),
        bundle=lambda resources: transaction(resources, options),
        text=xml_text if syntax == "xml" else json_text,
        choices={
            "release": options.release,
            "base": options.base,
            "status": options.status,
            "subject": options.subject,
            "quotes": quotes,
            "expand": options.expand,
        },
        form=form,
        syntax=syntax,
        packed=choices.get("gzip", False),
        bundle_notes=choices.get("bundle_notes", 20),
    )


def _check_fhir(form: str, syntax: str, choices: Choices) -> None:
    from converter.exports import ExportError

    if form == "ndjson" and syntax == "xml":
        raise ExportError("--as ndjson --syntax xml: NDJSON is lines of JSON; choose --as bundles for XML.")
    if form == "ndjson" and "bundle_notes" in choices:
        raise ExportError("--bundle-notes: NDJSON has no bundles; choose --as bundles.")
    for name, given, known in (
        ("as", form, ("ndjson", "bundles")),
        ("syntax", syntax, ("json", "xml")),
        ("release", choices.get("release", "R4"), ("R4", "R5")),
    ):
        if given not in known:
            raise ExportError(f"--{name} {given}: choose {' or '.join(known)}.")


def _rendered(
    reads: "Iterator[Read]", archive: "Archive", session: Session
) -> "Iterator[tuple[Note, list[dict[str, Any]], Sequence[Diagnostic]]]":
    """The resources of each note; the time of its reading is that of the first, in every export."""
    from converter.archive import first_reads

    for (note, reading, assessments), recorded in first_reads(archive, reads):
        fhir = replace(session.fhir, recorded=recorded or session.fhir.recorded)
        yield note, *convert(note, reading, assessments, replace(session, fhir=fhir))


Make = Callable[[Choices, Session, "Archive"], "Target"]
TARGETS: Mapping[str, tuple[Make, frozenset[str]]] = {
    "fhir": (
        _fhir,
        frozenset({"form", "syntax", "gzip", "bundle_notes", "release", "quotes", "expand"}),
    ),
}
"""Each target with the function that makes it and the choices that it knows."""
