"""Exports of an archive, beside `api`: joins the archive, FHIR and the targets of `exports`.

Takes an archive, what chooses its notes, and a target; gives the folder's manifest. Each target is made here
by a function of its own from the choices of the command line; writing it belongs to `exports`.
"""

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.api import Session, convert, has_text
from converter.assess import CAUTION

if TYPE_CHECKING:
    from converter.archive import Archive, Cohort, FindQuery
    from converter.exports import Common, Manifest, Read, Reads, Target
    from converter.exports.deidentifying import Deidentifier
    from converter.exports.omop import SiteMaps
    from converter.fhir import FhirOptions
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
    deidentify: "Deidentifier | None" = None,
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
        deidentify: changes each note before the target sees it.

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
        target = make(opened)
        reads: Reads = cohort.reads
        if deidentify is not None:
            target, reads, common = _deidentified(target, cohort, common, deidentify)
        return exports.export(target, reads, folder, common, force, tell=tell)


def deidentifier(key: Path, session: Session) -> "Deidentifier":
    """What de-identifies notes by the key in a file.

    Raises:
        ExportError: the key will not do, or others than its owner may use it.
        OSError: the file cannot be read.
    """
    from converter.exports.allowed import Allowed
    from converter.exports.deidentifying import Deidentifier
    from converter.exports.pseudonyms import read_key

    words = session.vocabulary
    return Deidentifier(read_key(key), words, Allowed(words), CAUTION)


def _deidentified(
    target: "Target", cohort: "Cohort", common: "Common", by: "Deidentifier"
) -> "tuple[Target, Reads, Common]":
    """The target behind what changes the notes, the notes in the order of pseudonyms, filters withheld."""
    from converter.exports.deidentified import DeidentifiedTarget, filters_withheld

    ranked = sorted(
        (by.rank(patient, key.system, key.id), place, number)
        for place, (number, patient, key) in enumerate(cohort.keys())
    )
    numbers = [number for _, _, number in ranked]
    filters = filters_withheld(common.filters)
    return (
        DeidentifiedTarget(target, by),
        lambda skip: cohort.numbered(numbers[skip:]),
        replace(common, filters=filters, words_kept=False),
    )


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


def target_of(
    name: str, choices: Choices, session: Session, *, deidentify: bool = False
) -> "Callable[[Archive], Target]":
    """What makes a target, by its name and choices.

    Args:
        name: a name of `TARGETS`.
        choices: what the user chose.
        session: settings and vocabulary.
        deidentify: whether the notes will be de-identified; then nothing that names the site is written.

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
    if deidentify:
        if name not in DEIDENTIFIED:
            raise ExportError(f"--deidentify: goes with --to {' or '.join(sorted(DEIDENTIFIED))} alone.")
        if choices.get("quotes"):
            raise ExportError("--deidentify --quotes: words of a note are never de-identified.")
        session = replace(session, fhir=_nameless(session.fhir))
    return lambda archive: make(choices, session, archive)


def _nameless(options: "FhirOptions") -> "FhirOptions":
    """FHIR options without any address of the site, without words of the note, and without patients' ids."""
    from converter.fhir import FhirOptions

    return FhirOptions(
        status=options.status,
        quotes=False,
        expand=options.expand,
        release=options.release,
        diagnostic_report=options.diagnostic_report,
        recorded=options.recorded,
    )


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


def _phenopackets(choices: Choices, session: Session, archive: "Archive") -> "Target":
    from importlib.util import find_spec

    from converter.exports import ExportError
    from converter.exports.phenopackets import PhenopacketsTarget

    form, one_per = choices.get("form", "ndjson"), choices.get("one_per", "exam")
    if form not in ("ndjson", "files"):
        raise ExportError(f"--as {form}: phenopackets are written as ndjson or files.")
    if one_per not in ("exam", "patient"):
        raise ExportError(f"--one-per {one_per}: there is one packet for each exam or for each patient.")
    if find_spec("phenopackets") is None:
        raise ExportError("--to phenopackets: a package is missing; run pip install 'plexor[phenopackets]'.")
    return PhenopacketsTarget(
        vocabulary=session.vocabulary,
        created_by=session.program,
        one_per=one_per,
        form=form,
        covered=choices.get("expand", False),
    )


def _recorded(archive: "Archive", note: "Note", vocabulary: str, program: str) -> str | None:
    """When the note was first read so; the same in every export."""
    from converter.archive import NoteKey, first_read

    return first_read(archive, NoteKey(note.system, note.id), note.hash, vocabulary, program)


def _rendered(
    reads: "Iterator[Read]", archive: "Archive", session: Session
) -> "Iterator[tuple[Note, list[dict[str, Any]], Sequence[Diagnostic]]]":
    """The resources of each note; the time of its reading is that of the first, in every export."""
    from converter.archive import first_reads

    for (note, reading, assessments), recorded in first_reads(archive, reads):
        fhir = replace(session.fhir, recorded=recorded or session.fhir.recorded)
        yield note, *convert(note, reading, assessments, replace(session, fhir=fhir))


def _tables(choices: Choices, session: Session, archive: "Archive") -> "Target":
    from converter.exports.tables import Naming, TablesTarget
    from converter.fhir.identity import uuid_of

    default = session.fhir.default_system
    naming = Naming(
        document=lambda note: uuid_of(note.system or default, note.id, "document"),
        observation=lambda note, finding: uuid_of(
            note.system or default, note.id, "finding", finding.finding
        ),
    )
    return TablesTarget(
        vocabulary=session.vocabulary,
        naming=naming,
        base=session.fhir.base,
        caution=CAUTION,
        quotes=choices.get("quotes", session.fhir.quotes) and has_text(archive),
    )


def _omop(choices: Choices, session: Session, archive: "Archive") -> "Target":
    from converter.exports import ExportError
    from converter.exports.omop import OmopTarget, prepare_keys
    from converter.exports.omop.postgres import Database

    for needed in ("persons", "keys"):
        if needed not in choices:
            raise ExportError(f"--to omop needs --{needed}; `plexor export --help` says what it is.")
    keys_name = prepare_keys(choices["keys"], session.run, choices.get("first_key"))
    maps, digests = _site_maps(choices, session)
    database = Database(choices.get("schema", "cdm"), keys_name) if choices.get("postgres") else None
    if database is not None:
        database.check()
    where = None if database is None else database.schema
    return OmopTarget(
        vocabulary=session.vocabulary,
        maps=maps,
        keys=choices["keys"],
        read_on=lambda note, reading: (
            _recorded(archive, note, reading.vocabulary, reading.program) or session.time or ""
        ),
        twice=_identities_used_twice(archive),
        words=choices.get("quotes", session.fhir.quotes) and has_text(archive),
        choices={"keys": keys_name, "schema": where, "maps": digests, "drop_gone": "drop_gone" in choices},
        held=(lambda: _identities(archive)) if "drop_gone" in choices else None,
        load=None if database is None else database.load,
    )


def _site_maps(choices: Choices, session: Session) -> "tuple[SiteMaps, dict[str, str]]":
    """The site's maps, and a digest of each file."""
    from converter.exports.omop import ConceptMap, IdMap, SiteMaps, read_concepts, read_ids

    files = {
        name: choices[name] for name in ("concepts", "persons", "visits", "providers") if name in choices
    }
    maps = SiteMaps(
        concepts=read_concepts(files["concepts"], session.vocabulary)
        if "concepts" in files
        else ConceptMap(),
        persons=read_ids(files["persons"], "patient", "person_id"),
        visits=read_ids(files["visits"], "encounter", "visit_occurrence_id")
        if "visits" in files
        else IdMap({}),
        providers=read_ids(files["providers"], "author", "provider_id")
        if "providers" in files
        else IdMap({}),
    )
    return maps, {name: hashlib.sha256(file.read_bytes()).hexdigest() for name, file in files.items()}


def _identities(archive: "Archive") -> Iterator[tuple[str | None, str]]:
    from converter.archive import sql

    rows: Iterator[tuple[str | None, str]] = sql(
        archive, "SELECT DISTINCT system, id FROM current_notes"
    ).rows
    yield from rows


def _identities_used_twice(archive: "Archive") -> frozenset[tuple[str | None, str]]:
    from converter.archive import sql

    twice = "SELECT system, id FROM current_notes GROUP BY ALL HAVING count(*) > 1"
    return frozenset((system, name) for system, name in sql(archive, twice).rows)


Make = Callable[[Choices, Session, "Archive"], "Target"]
TARGETS: Mapping[str, tuple[Make, frozenset[str]]] = {
    "fhir": (
        _fhir,
        frozenset({"form", "syntax", "gzip", "bundle_notes", "release", "quotes", "expand"}),
    ),
    "tables": (_tables, frozenset({"quotes"})),
    "omop": (
        _omop,
        frozenset(
            {
                "concepts",
                "persons",
                "visits",
                "providers",
                "keys",
                "first_key",
                "postgres",
                "schema",
                "drop_gone",
                "quotes",
            }
        ),
    ),
    "phenopackets": (_phenopackets, frozenset({"form", "one_per", "expand"})),
}
"""Each target with the function that makes it and the choices that it knows."""
DEIDENTIFIED = frozenset({"fhir", "phenopackets", "tables"})
"""Targets that can be fed with de-identified notes."""
