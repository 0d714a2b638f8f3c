"""Checks the table of a `plexor.toml` key by key, and makes Settings of it.

Takes TOML; gives Settings, or a SettingsError with one sentence for each mistake. What is not written gets
its default in `settings`; of the defaults here only those count that another key is held against.
"""

import tomllib
import zoneinfo
from collections.abc import Iterable, Iterator, Mapping
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

from converter import settings
from converter.assess.options import AssessOptions
from converter.fhir.options import Release
from converter.settings import Settings, SettingsError
from converter.sources.decode import is_text_encoding
from converter.sources.file_names import compiled
from converter.sources.options import NoteField

_ASSESS = AssessOptions()


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


class _Notes(_Section):
    system: Uri | None = None
    encoding: Encoding | None = None
    file_name: FileName | None = None
    columns: dict[NoteField, str] = {}
    sections: Annotated[list[str], Field(min_length=1), AfterValidator(_section_names)] = []


class _Vocabulary(_Section):
    files: list[str] = []


class _Reading(_Section):
    default_scale: str | None = None
    pair_order: Literal["right-left", "left-right"] = "right-left"
    figure_rows: Annotated[list[str], Field(min_length=2)] = []


class _Assess(_Section):
    side_difference: Threshold = _ASSESS.side_difference
    marked: Annotated[Threshold, Field(validate_default=True)] = _ASSESS.marked
    change: Threshold = _ASSESS.change
    leave_out: Annotated[list[str], AfterValidator(_rules)] = []
    absent_ankle_age_note: bool = True
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


class _Fhir(_Section):
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


class _Profiles(_Section):
    folders: list[str] = []


class _Archive(_Section):
    file: str | None = None
    quotes: bool = True


class _Table(_Section):
    notes: _Notes = _Notes()
    vocabulary: _Vocabulary = _Vocabulary()
    reading: _Reading = _Reading()
    assess: _Assess = _Assess()
    fhir: _Fhir = _Fhir()
    profiles: _Profiles = _Profiles()
    archive: _Archive = _Archive()


_VALUES = {
    "notes": settings.NotesSettings,
    "vocabulary": settings.VocabularySettings,
    "reading": settings.ReadingSettings,
    "assess": settings.AssessSettings,
    "fhir": settings.FhirSettings,
    "profiles": settings.ProfilesSettings,
    "archive": settings.ArchiveSettings,
}


def checked(table: Mapping[str, Any], file: Path | None = None) -> Settings:
    """The settings of a table.

    Args:
        table: sections with their keys.
        file: the file that it was read from, or None.

    Raises:
        SettingsError: the table says something that is not allowed, or names what is not there.
    """
    try:
        written = _Table.model_validate(table).model_dump(exclude_unset=True)
    except ValidationError as error:
        raise _refusal(map(_sentence, error.errors()), file) from error
    sections: dict[str, Any] = {name: _VALUES[name](**keys) for name, keys in written.items()}
    made = Settings(**sections, folder=file.parent if file else Path(), file=file)
    missing = [*_missing_paths(made)]
    if missing:
        raise _refusal(missing, file)
    return made


def table_in(file: Path) -> Mapping[str, Any]:
    """The table of a file.

    Raises:
        SettingsError: the file cannot be read, or is no TOML.
    """
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


def _refusal(sentences: Iterable[str], file: Path | None) -> SettingsError:
    return SettingsError(tuple(f"{file}: {one}" if file else one for one in sentences))


def _missing_paths(made: Settings) -> Iterator[str]:
    for name in made.vocabulary.files:
        if not made.path(name).is_file():
            yield f"[vocabulary] files: there is no file {made.path(name)}"
    for name in made.profiles.folders:
        if not made.path(name).is_dir():
            yield f"[profiles] folders: there is no folder {made.path(name)}"
    ids = made.fhir.patient_ids
    if ids is not None and not made.path(ids).is_file():
        yield f"[fhir] patient_ids: there is no file {made.path(ids)}"


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
        return f"there is no section [{place[0]}]; {_known(_Table)}"
    section = _Table.model_fields[place[0]].annotation
    assert isinstance(section, type)
    return f"[{place[0]}] has no key {place[1]}; {_known(section)}"


def _known(section: type[BaseModel]) -> str:
    return _choices(section.model_fields)


def _choices(names: Any) -> str:
    return f"known are {', '.join(names)}"
