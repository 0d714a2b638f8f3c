"""A site's settings: `plexor.toml`, read once, checked, and turned into the options of each stage.

Takes a TOML file; gives a frozen Settings, or a SettingsError whose sentences name the file and the key.
Paths in the file are taken from the file's own folder. How a file is checked stands in `settings_file`, which
is imported where there is a file.
"""

import csv
from collections.abc import Container, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from converter.assess.options import AssessOptions
from converter.fhir.options import DEFAULT_BASE, FhirOptions, Release
from converter.reading import ReadingOptions
from converter.reading.options import ROWS

FILE_NAME = "plexor.toml"
_ASSESS = AssessOptions()


class SettingsError(ValueError):
    """The settings cannot be used.

    Attributes:
        sentences: one for each mistake, each naming the file and the key.
    """

    def __init__(self, sentences: tuple[str, ...]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences


@dataclass(frozen=True, slots=True, kw_only=True)
class NotesSettings:
    """`[notes]`: how the inputs are written."""

    system: str | None = None
    encoding: str | None = None
    file_name: str | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    sections: list[str] = field(default_factory=lambda: ["examination"])


@dataclass(frozen=True, slots=True, kw_only=True)
class VocabularySettings:
    """`[vocabulary]`: word lists (.csv), scales and reflexes (.toml) of the site's own, added to ours."""

    files: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingSettings:
    """`[reading]`: what the notes leave unsaid."""

    default_scale: str | None = None
    pair_order: Literal["right-left", "left-right"] = "right-left"
    figure_rows: list[str] = field(default_factory=lambda: [*ROWS])


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessSettings:
    """`[assess]`: thresholds in grades, ages in years, beats of clonus, and rules to leave out."""

    side_difference: float = _ASSESS.side_difference
    marked: float = _ASSESS.marked
    change: float = _ASSESS.change
    leave_out: list[str] = field(default_factory=list)
    absent_ankle_age_note: bool = _ASSESS.absent_ankle_age_note
    ankle_age: int = _ASSESS.ankle_age
    infant_age: int = _ASSESS.infant_age
    brief_clonus_beats: int = _ASSESS.brief_clonus_beats
    abnormal_clonus_beats: int = _ASSESS.abnormal_clonus_beats


@dataclass(frozen=True, slots=True, kw_only=True)
class FhirSettings:
    """`[fhir]`: how resources are written."""

    canonical: str | None = None
    status: Literal["preliminary", "final"] = "preliminary"
    subject: Literal["logical", "conditional", "literal"] = "logical"
    patient_ids: str | None = None
    patient_system: str | None = None
    practitioner_system: str | None = None
    encounter_system: str | None = None
    facility_system: str | None = None
    zone: str | None = None
    quotes: bool = True
    note_text: bool = False
    diagnostic_report: bool = False
    release: Release = "R4"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfilesSettings:
    """`[profiles]`: folders of definitions to check against, besides the shipped ones."""

    folders: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchiveSettings:
    """`[archive]`: the store of findings."""

    file: str | None = None
    quotes: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All sections of `plexor.toml`; what is not written has its default.

    Attributes:
        folder: the folder that relative paths start from.
        file: the file that the settings came from, or None; messages name it.
    """

    notes: NotesSettings = field(default_factory=NotesSettings)
    vocabulary: VocabularySettings = field(default_factory=VocabularySettings)
    reading: ReadingSettings = field(default_factory=ReadingSettings)
    assess: AssessSettings = field(default_factory=AssessSettings)
    fhir: FhirSettings = field(default_factory=FhirSettings)
    profiles: ProfilesSettings = field(default_factory=ProfilesSettings)
    archive: ArchiveSettings = field(default_factory=ArchiveSettings)
    folder: Path = Path()
    file: Path | None = None

    def path(self, written: str) -> Path:
        """A path of the file, from the file's own folder."""
        return self.folder / written

    def _refusal(self, sentence: str) -> SettingsError:
        return SettingsError((f"{self.file}: {sentence}" if self.file else sentence,))

    def reading_options(self, scales: Container[str], reflexes: Container[str]) -> ReadingOptions:
        """The options of the reader.

        Args:
            scales: the scales that the vocabulary knows.
            reflexes: the reflexes and regions that it knows.

        Raises:
            SettingsError: the default scale, or a row of a figure, is none of them.
        """
        scale = self.reading.default_scale
        if scale is not None and scale not in scales:
            raise self._refusal(f"[reading] default_scale: the vocabulary has no scale {scale}")
        unknown = [row for row in self.reading.figure_rows if row not in reflexes]
        if unknown:
            raise self._refusal(f"[reading] figure_rows: the vocabulary has no reflex {unknown[0]}")
        return ReadingOptions(
            default_scale=scale,
            pair_order=self.reading.pair_order,
            figure_rows=tuple(self.reading.figure_rows),
        )

    def assess_options(self) -> AssessOptions:
        """The options of the assessment."""
        chosen = self.assess
        return AssessOptions(
            side_difference=chosen.side_difference,
            marked=chosen.marked,
            change=chosen.change,
            rules_left_out=frozenset(chosen.leave_out),
            absent_ankle_age_note=chosen.absent_ankle_age_note,
            ankle_age=chosen.ankle_age,
            infant_age=chosen.infant_age,
            brief_clonus_beats=chosen.brief_clonus_beats,
            abnormal_clonus_beats=chosen.abnormal_clonus_beats,
        )

    def fhir_options(self, recorded: str | None = None) -> FhirOptions:
        """The options of the FHIR output.

        Args:
            recorded: when the notes are read, an ISO 8601 instant.

        Raises:
            SettingsError: the file of patient ids, or an address, cannot be used.
        """
        try:
            return self._fhir_options(recorded)
        except SettingsError:
            raise
        except ValueError as error:
            raise self._refusal(f"[fhir] {str(error).replace('base:', 'canonical:', 1)}") from error

    def _fhir_options(self, recorded: str | None) -> FhirOptions:
        chosen = self.fhir
        return FhirOptions(
            base=(chosen.canonical or DEFAULT_BASE).rstrip("/"),
            status=chosen.status,
            quotes=chosen.quotes,
            note_text=chosen.note_text,
            zone=chosen.zone,
            subject=chosen.subject,
            patient_ids=_patient_ids(self.path(chosen.patient_ids)) if chosen.patient_ids else None,
            patient_system=chosen.patient_system,
            practitioner_system=chosen.practitioner_system,
            encounter_system=chosen.encounter_system,
            facility_system=chosen.facility_system,
            release=chosen.release,
            diagnostic_report=chosen.diagnostic_report,
            recorded=recorded,
        )


def find_settings(config: Path | None = None, folder: Path | None = None) -> Settings:
    """The settings of `config`, else of `plexor.toml` in `folder` (the working folder), else the defaults.

    Raises:
        SettingsError: the file cannot be read or says something that is not allowed.
    """
    if config is not None:
        return load_settings(config)
    usual = (folder or Path()) / FILE_NAME
    return load_settings(usual) if usual.is_file() else Settings()


def load_settings(file: Path) -> Settings:
    """Read and check a settings file.

    Raises:
        SettingsError: the file cannot be read or says something that is not allowed.
    """
    from converter.settings_file import checked, table_in

    return checked(table_in(file), file)


def settings_from(table: Mapping[str, Any]) -> Settings:
    """Settings of sections with their keys, checked as those of a file are.

    Raises:
        SettingsError: they say something that is not allowed.
    """
    from converter.settings_file import checked

    return checked(table)


def _patient_ids(file: Path) -> dict[str, str]:
    """Patient identifier -> id of its Patient resource, from a CSV file with columns `patient` and `id`."""
    try:
        with file.open(encoding="utf-8-sig", newline="") as lines:
            rows = list(csv.DictReader(lines, strict=True))
        return {row["patient"].strip(): row["id"].strip() for row in rows}
    except (OSError, UnicodeDecodeError, csv.Error, KeyError, AttributeError) as error:
        raise SettingsError((f"{file}: this is no CSV file with the columns patient and id",)) from error
