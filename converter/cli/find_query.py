"""What the options of `plexor find` ask for, as a query of the archive."""

import difflib
import re
from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from converter.cli.running import CannotRunError

if TYPE_CHECKING:
    from converter.archive import FindQuery
    from converter.settings import Settings
    from converter.words import Vocabulary

_GRADE = re.compile(r"(-?\d+(?:\.5)?)(?:\s*(?:-|to)\s*(-?\d+(?:\.5)?))?")

_ALTERNATIVES = {
    "patients": "patient",
    "notes": "note",
    "sites": "site",
    "sides": "side",
    "kinds": "kind",
    "levels": "level",
    "descriptors": "descriptor",
    "responses": "response",
    "authors": "author",
    "facilities": "facility",
    "note_kinds": "note_kind",
    "abnormalities": "abnormality",
}
"""Fields of a query that take alternatives, and the option that fills each."""


def query_of(asked: Mapping[str, Any], settings: "Settings") -> "FindQuery":
    """The query that the options of the command make.

    Args:
        asked: the command's options by the name of their parameter.
        settings: name the site's own word lists.

    Raises:
        CannotRunError: an option asks for something that does not exist.
        ArchiveError: the words of a pattern are not understood.
    """
    from converter.archive import FindQuery
    from converter.pattern_words import pattern_of
    from converter.words import load_vocabulary

    vocabulary = load_vocabulary(settings.path(name) for name in settings.vocabulary.files)
    asked = {**asked, "site": _sites(asked["site"] or (), vocabulary)}
    _check_names(asked, vocabulary)
    low, high = grades_of(asked["grade"])
    if low is not None and asked["scale"] is None:
        raise CannotRunError(
            f"--grade {asked['grade']}: a figure means one thing on one scale and another on the next: add "
            "the scale, as in --scale bedside"
        )
    status = asked["status"] or ["current"]
    alternatives: dict[str, Any] = {field: tuple(asked[name] or ()) for field, name in _ALTERNATIVES.items()}
    return FindQuery(
        **alternatives,
        statuses=() if "all" in status else tuple(status),
        scale=asked["scale"],
        grade_from=low,
        grade_to=high,
        date_from=asked["from_"],
        date_to=asked["to"],
        exact=asked["exact"],
        limit=asked["limit"],
        patterns=tuple(pattern_of(words, vocabulary) for words in asked["pattern"] or ()),
    )


def _sites(names: Iterable[str], vocabulary: "Vocabulary") -> list[str]:
    """Reflexes by their own names or in the words of the trade."""
    from converter.pattern_words import site_named

    return [name if name in vocabulary.reflexes else site_named(name, vocabulary) or name for name in names]


def grades_of(written: str | None) -> tuple[float | None, float | None]:
    """The ends of a grade or range of grades, e.g. `3`, `3-4`, `-4 to -2`.

    Raises:
        CannotRunError: it is no grade.
    """
    if written is None:
        return None, None
    found = _GRADE.fullmatch(written.strip())
    if found is None:
        raise CannotRunError(f"--grade {written}: write a grade or a range of grades, as 3 or 3-4")
    low, high = float(found[1]), float(found[2] or found[1])
    return min(low, high), max(low, high)


def _check_names(asked: Mapping[str, Any], vocabulary: "Vocabulary") -> None:
    """See that what is asked for exists, so that a slip of the pen does not look like an empty answer."""
    from converter.words.anatomy import shipped_knowledge

    known: dict[str, Collection[str]] = {
        "site": vocabulary.reflexes,
        "scale": vocabulary.scales,
        "descriptor": vocabulary.descriptors,
        "abnormality": shipped_knowledge().codes,
        "side": ("left", "right", "both", "unspecified"),
        "kind": ("stretch", "plantar", "clonus", "superficial", "primitive"),
        "level": ("absent", "low", "normal", "high", "clonus"),
        "response": ("flexor", "extensor", "not_extensor", "equivocal", "withdrawal", "mute", "absent"),
        "status": ("current", "historical", "hypothetical", "not_tested", "family", "all"),
    }
    for name, values in known.items():
        wanted = asked[name] or ()
        for value in [wanted] if isinstance(wanted, str) else wanted:
            if value not in values:
                near = difflib.get_close_matches(value, values, 2)
                shown = f"did you mean {' or '.join(near)}?" if near else f"known are {', '.join(values)}"
                raise CannotRunError(f"--{name} {value}: there is no such {name}; {shown}")


def columns_of(count_by: str, query: "FindQuery") -> tuple[str, ...]:
    """The columns to count by; beside a grade stands its scale, since 2 means different things on two scales.

    Raises:
        CannotRunError: no column is named, or one twice.
    """
    names = [name.strip().replace("-", "_") for name in count_by.split(",")]
    if not all(names) or len(set(names)) < len(names):
        raise CannotRunError(f"--count-by {count_by}: name each column once, as in site,side,grade")
    if "grade" in names and "scale" not in names and query.scale is None:
        names.insert(names.index("grade"), "scale")
    return tuple(names)
