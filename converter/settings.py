"""A site's settings: `plexor.toml`, read once, checked, and turned into the options of each stage.

Takes a TOML file; gives a frozen Settings, or a SettingsError whose sentences name the file and the key.
Paths in the file are taken from the file's own folder.
"""

import csv
import tomllib
import zoneinfo
from collections.abc import Container, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
)
from pydantic_core import ErrorDetails

from converter.assess.options import AssessOptions
from converter.fhir.options import DEFAULT_BASE, FhirOptions, Release
from converter.reading import ReadingOptions
from converter.reading.layouts.figures import ROWS
from converter.sources.decode import is_text_encoding
from converter.sources.file_names import compiled
from converter.sources.options import NoteField

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


def _known_encoding(name: str) -> str:
    if not is_text_encoding(name):
        raise ValueError(f"there is no encoding {name}")
    return name


def _known_zone(name: str) -> str:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"there is no time zone {name}; write it as in Australia/Hobart") from error
    return name


def _absolute_uri(uri: str) -> str:
    scheme, colon, rest = uri.partition(":")
    if not colon or not scheme.isalnum() or not rest or any(letter.isspace() for letter in uri):
        raise ValueError("it must be a whole URI, as in https://clinic.example/notes or urn:oid:1.2.3")
    return uri


def _rules(names: list[str]) -> list[str]:
    if not names:
        return names
    from converter.assess import RULE_NAMES

    for name in names:
        if name not in RULE_NAMES:
            raise ValueError(f"there is no rule {name}; {_choices(RULE_NAMES)}")
    return names


def _file_name(template: str) -> str:
    compiled(template)
    return template


def _section_names(names: list[str]) -> list[str]:
    if any(not name.strip() for name in names):
        raise ValueError("a section needs a LOINC code or a word of its title; it is empty")
    return names


FileName = Annotated[str, AfterValidator(_file_name)]
Encoding = Annotated[str, AfterValidator(_known_encoding)]
Zone = Annotated[str, AfterValidator(_known_zone)]
Uri = Annotated[str, AfterValidator(_absolute_uri)]
Threshold = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Age = Annotated[int, Field(ge=0, le=130)]
Beats = Annotated[int, Field(ge=1)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class NotesSettings(_Section):
    """`[notes]`: how the inputs are written."""

    system: Uri | None = None
    encoding: Encoding | None = None
    file_name: FileName | None = None
    columns: dict[NoteField, str] = {}
    sections: Annotated[list[str], Field(min_length=1), AfterValidator(_section_names)] = ["examination"]


class VocabularySettings(_Section):
    """`[vocabulary]`: word lists (.csv), scales and reflexes (.toml) of the site's own, added to ours."""

    files: list[str] = []


class ReadingSettings(_Section):
    """`[reading]`: what the notes leave unsaid."""

    default_scale: str | None = None
    pair_order: Literal["right-left", "left-right"] = "right-left"
    figure_rows: Annotated[list[str], Field(min_length=2)] = [*ROWS]


class AssessSettings(_Section):
    """`[assess]`: thresholds in grades, ages in years, beats of clonus, and rules to leave out."""

    side_difference: Threshold = _ASSESS.side_difference
    marked: Annotated[Threshold, Field(validate_default=True)] = _ASSESS.marked
    change: Threshold = _ASSESS.change
    leave_out: Annotated[list[str], AfterValidator(_rules)] = []
    absent_ankle_age_note: bool = _ASSESS.absent_ankle_age_note
    ankle_age: Age = _ASSESS.ankle_age
    infant_age: Age = _ASSESS.infant_age
    brief_clonus_beats: Beats = _ASSESS.brief_clonus_beats
    abnormal_clonus_beats: Annotated[Beats, Field(validate_default=True)] = _ASSESS.abnormal_clonus_beats

    @field_validator("marked")
    @classmethod
    def _not_below_side_difference(cls, marked: float, info: ValidationInfo) -> float:
        least = info.data.get("side_difference")
        if least is not None and marked < least:
            raise ValueError(f"it must be at least side_difference, which is {least:g}; it is {marked:g}")
        return marked

    @field_validator("abnormal_clonus_beats")
    @classmethod
    def _above_brief_beats(cls, beats: int, info: ValidationInfo) -> int:
        brief = info.data.get("brief_clonus_beats")
        if brief is not None and beats <= brief:
            raise ValueError(f"it must be more than brief_clonus_beats, which is {brief}; it is {beats}")
        return beats


class FhirSettings(_Section):
    """`[fhir]`: how resources are written."""

    canonical: Uri | None = None
    status: Literal["preliminary", "final"] = "preliminary"
    subject: Literal["logical", "conditional", "literal"] = "logical"
    patient_ids: str | None = None
    patient_system: Uri | None = None
    practitioner_system: Uri | None = None
    encounter_system: Uri | None = None
    facility_system: Uri | None = None
    zone: Zone | None = None
    quotes: bool = True
    note_text: bool = False
    diagnostic_report: bool = False
    release: Release = "R4"


class ProfilesSettings(_Section):
    """`[profiles]`: folders of definitions to check against, besides the shipped ones."""

    folders: list[str] = []


class ArchiveSettings(_Section):
    """`[archive]`: the store of findings."""

    file: str | None = None
    quotes: bool = True


class Settings(_Section):
    """All sections of `plexor.toml`; what is not written has its default.

    Attributes:
        folder: the folder that relative paths start from.
        file: the file that the settings came from, or None; messages name it.
    """

    notes: NotesSettings = NotesSettings()
    vocabulary: VocabularySettings = VocabularySettings()
    reading: ReadingSettings = ReadingSettings()
    assess: AssessSettings = AssessSettings()
    fhir: FhirSettings = FhirSettings()
    profiles: ProfilesSettings = ProfilesSettings()
    archive: ArchiveSettings = ArchiveSettings()
    folder: Annotated[Path, Field(exclude=True)] = Path()
    file: Annotated[Path | None, Field(exclude=True)] = None

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
    table = _table(file)
    for name in ("folder", "file"):
        if name in table:
            raise SettingsError((f"{file}: there is no section [{name}]; {_known(Settings)}",))
    try:
        settings = Settings.model_validate({**table, "folder": file.parent, "file": file})
    except ValidationError as error:
        raise SettingsError(tuple(f"{file}: {_sentence(entry)}" for entry in error.errors())) from error
    missing = tuple(f"{file}: {sentence}" for sentence in _missing_paths(settings))
    if missing:
        raise SettingsError(missing)
    return settings


def _table(file: Path) -> Mapping[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise SettingsError((f"{file}: the settings cannot be read ({reason})",)) from error
    except UnicodeDecodeError as error:
        raise SettingsError((f"{file}: the settings are not written in UTF-8",)) from error
    except tomllib.TOMLDecodeError as error:
        reason = str(error)
        raise SettingsError((f"{file}: this is not TOML: {reason[:1].lower()}{reason[1:]}",)) from error


def _missing_paths(settings: Settings) -> Iterator[str]:
    for name in settings.vocabulary.files:
        if not settings.path(name).is_file():
            yield f"[vocabulary] files: there is no file {settings.path(name)}"
    for name in settings.profiles.folders:
        if not settings.path(name).is_dir():
            yield f"[profiles] folders: there is no folder {settings.path(name)}"
    ids = settings.fhir.patient_ids
    if ids is not None and not settings.path(ids).is_file():
        yield f"[fhir] patient_ids: there is no file {settings.path(ids)}"


def _patient_ids(file: Path) -> dict[str, str]:
    """Patient identifier -> id of its Patient resource, from a CSV file with columns `patient` and `id`."""
    try:
        with file.open(encoding="utf-8-sig", newline="") as lines:
            rows = list(csv.DictReader(lines, strict=True))
        return {row["patient"].strip(): row["id"].strip() for row in rows}
    except (OSError, UnicodeDecodeError, csv.Error, KeyError, AttributeError) as error:
        raise SettingsError((f"{file}: this is no CSV file with the columns patient and id",)) from error


def _sentence(entry: ErrorDetails) -> str:
    """One mistake in plain words, with its section and key."""
    place = [str(part) for part in entry["loc"]]
    if entry["type"] == "extra_forbidden":
        return _unknown(place)
    section, key = place[0], ".".join(part for part in place[1:] if part != "[key]")
    name = f"[{section}] {key}" if key else f"[{section}]"
    if place == ["notes", "columns", *place[2:]] and entry["type"] == "literal_error":
        return f"[notes.columns] {place[2]}: there is no such field; {_choices(get_args(NoteField))}"
    if entry["type"] == "value_error":
        return f"{name}: {entry['ctx']['error']}"
    message = entry["msg"].replace("Input should", "it should")
    written = f", not {entry['input']!r}" if isinstance(entry["input"], str | int | float) else ""
    return f"{name}: {message[:1].lower()}{message[1:]}{written}"


def _unknown(place: list[str]) -> str:
    if len(place) == 1:
        return f"there is no section [{place[0]}]; {_known(Settings)}"
    section = Settings.model_fields[place[0]].annotation
    assert isinstance(section, type)
    return f"[{place[0]}] has no key {place[1]}; {_known(section)}"


def _known(section: type[BaseModel]) -> str:
    return _choices(name for name, field in section.model_fields.items() if not field.exclude)


def _choices(names: Any) -> str:
    return f"known are {', '.join(names)}"
