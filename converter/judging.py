"""Makes the finding that a person means out of the few words they give for it; beside `api`.

Takes a site, a side, a value in shorthand and a status; gives a Finding whose grade, scale and level come
from the same reader and the same tables as any other. Nobody types a level or a code.
"""

from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

from converter.api import Session
from converter.model import Finding, Note, Span
from converter.reading import read_note
from converter.reading.shorthand import shorthand_of
from converter.words import Vocabulary
from converter.words.phrases import tokens_of

SIDES = ("left", "right", "both", "unspecified")
STATUSES = ("current", "historical", "hypothetical", "not_tested", "family")
_KEPT = ("finding", "exam", "spans", "start", "end", "quote", "status")
"""Fields that say where a finding stands, not what it says."""


class JudgingError(ValueError):
    """What a person gave cannot be a finding; one sentence says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a person says of a finding; None leaves a field as it was read.

    Attributes:
        site: the reflex, by its canonical name (`patellar`, `plantar:chaddock`) or by any name of the word
            lists (`KJ`).
        side: one of SIDES, or any word for a side.
        value: as a note would write it, with manner: `2+`, `absent`, `x3`, `upgoing`, `1+ with
            reinforcement`.
        status: one of STATUSES.
        scale: the scale that reads a grade.
    """

    site: str | None = None
    side: str | None = None
    value: str | None = None
    status: str | None = None
    scale: str | None = None

    @property
    def says_nothing(self) -> bool:
        """Whether no field is given."""
        return not any((self.site, self.side, self.value, self.status, self.scale))


def corrected_finding(finding: Finding, told: Told, session: Session) -> Finding:
    """A finding with what a person says of it; it stays at its place in the note.

    Raises:
        JudgingError: nothing is said, or it cannot be understood.
    """
    if told.says_nothing:
        raise JudgingError("say what the finding should be: a site, a side, a value or a status")
    words = session.vocabulary
    site, which, root, own_side = finding.site, finding.which, finding.root, finding.side
    if told.site:
        site, which, root, stated = _site(told.site, words)
        own_side = stated or own_side
    side = _side(told.side, words) if told.side else own_side
    status = _status(told.status) or finding.status
    same_kind = words.reflexes[site].kind == finding.kind
    if told.value is None and told.scale is None and same_kind and status != "not_tested":
        return replace(finding, site=site, which=which, root=root, side=side, status=status)
    if told.value is None and not same_kind:
        raise JudgingError("a reflex of another kind has other values: give the value too")
    value = "not tested" if status == "not_tested" else told.value or finding.as_written or ""
    scale = told.scale or (finding.scale if finding.scale_basis in ("legend", "site_default") else None)
    made = _read(value, _bare(site, which, root, side, words), scale, session)
    kept: dict[str, Any] = {name: getattr(finding, name) for name in _KEPT}
    if told.scale is None and finding.scale_basis == "legend" and made.scale == finding.scale:
        kept["scale_basis"] = "legend"
    if told.status or made.status == "not_tested":
        kept["status"] = "not_tested" if made.status == "not_tested" else status
    return replace(made, **kept)


def added_finding(told: Told, spans: tuple[Span, ...], text: str, session: Session, exam: int = 1) -> Finding:
    """A finding that the reader missed.

    Args:
        told: site and value at least, or a status `not_tested`; a side not told stays unspecified.
        spans: the characters that say it.
        text: the note; empty in an archive without quotes.
        session: words, scales and rules.
        exam: number of the exam it belongs to.

    Raises:
        JudgingError: a field is missing, or cannot be understood.
    """
    if not told.site or not (told.value or told.status == "not_tested"):
        raise JudgingError("a finding that was missed needs a site and a value")
    if not spans:
        raise JudgingError("a finding that was missed needs a place in the note")
    words = session.vocabulary
    site, which, root, stated = _site(told.site, words)
    side = _side(told.side, words) if told.side else stated or "unspecified"
    status = _status(told.status) or "current"
    value = "not tested" if status == "not_tested" else told.value or ""
    made = _read(value, _bare(site, which, root, side, words), told.scale, session)
    start, end = min(span.start for span in spans), max(span.end for span in spans)
    return replace(
        made,
        exam=exam,
        status="not_tested" if made.status == "not_tested" else status,
        spans=spans,
        start=start,
        end=end,
        quote=text[start:end],
    )


def value_in_words(finding: Finding, vocabulary: Vocabulary) -> str:
    """The value of a finding as `Told.value` takes it, else as the note has it."""
    bare = replace(finding, status="not_tested" if finding.status == "not_tested" else "current")
    clause = shorthand_of([bare], vocabulary).text.split("; ")[-1]
    try:
        what = _bare(finding.site, finding.which, finding.root, finding.side, vocabulary)
        name = _named(what, "", vocabulary)
    except JudgingError:  # a reflex of a site's own, for which there is no mark
        return finding.as_written or ""
    if clause.startswith(name):
        return clause.removeprefix(name).strip()
    return "absent" if clause.startswith("no ") else finding.as_written or ""


def _read(value: str, bare: Finding, scale: str | None, session: Session) -> Finding:
    """Read a value beside the name of its reflex, as the reader reads any note."""
    words = session.vocabulary
    if scale is not None and scale not in words.scales:
        raise JudgingError(f"there is no scale {scale}; known are {', '.join(sorted(words.scales))}")
    text = _named(bare, value, words)
    options = session.reading if scale is None else replace(session.reading, default_scale=scale)
    note = Note(id="told", text=text, hash=sha256(text.encode("utf-8", "replace")).hexdigest())
    reading = read_note(note, words, options, session.program)
    what = (bare.site, bare.which, bare.side)
    found = [one for one in reading.findings if (one.site, one.which, one.side) == what]
    if len(reading.findings) != 1 or not found or reading.unread or not _says_something(found[0]):
        raise JudgingError(f"the value {value!r} is not understood beside {text.removesuffix(value).strip()}")
    if bare.root != found[0].root:
        return replace(found[0], root=bare.root)
    return found[0]


def _says_something(finding: Finding) -> bool:
    said = (finding.grade_low, finding.descriptor, finding.response, finding.quality, finding.comparison)
    return finding.status == "not_tested" or any(one is not None for one in said)


def _named(bare: Finding, value: str, vocabulary: Vocabulary) -> str:
    """The reflex with its side and the value, in shorthand."""
    written = shorthand_of([replace(bare, as_written=value or ".")], vocabulary).text
    if not written:
        raise JudgingError(f"there is no shorthand for {bare.site}")
    return written if value else written.removesuffix(".").strip()


def _bare(site: str, which: str | None, root: str | None, side: str, vocabulary: Vocabulary) -> Finding:
    """A finding that says nothing of its reflex, so that only the name is written."""
    if site not in vocabulary.reflexes:
        raise JudgingError(f"there is no reflex {site} in the word lists")
    return Finding(
        finding="told", exam=1, site=site, which=which, root=root, side=side, kind="stretch", start=0, end=0,
        quote="",
    )  # fmt: skip


def _site(said: str, vocabulary: Vocabulary) -> tuple[str, str | None, str | None, str | None]:
    """Site, variant, root, and the side that the name states: `patellar`, `plantar:chaddock`, `BUE`."""
    meaning = said.strip()
    if meaning.partition(":")[0] not in vocabulary.reflexes:
        meaning = _meaning(meaning, ("site", "region"), vocabulary) or ""
    site, _, rest = meaning.partition(":")
    if not site:
        raise JudgingError(f"there is no reflex {said!r}; `plexor words --role site` lists them")
    if rest.startswith("root="):
        return site, None, rest.removeprefix("root="), None
    return (site, None, None, rest) if rest in SIDES else (site, rest or None, None, None)


def _side(said: str, vocabulary: Vocabulary) -> str:
    meaning = said.strip().lower()
    if meaning not in SIDES:
        meaning = _meaning(said, ("side",), vocabulary) or ""
    if meaning not in SIDES:
        raise JudgingError(f"there is no side {said!r}; choose from {', '.join(SIDES)}")
    return meaning


def _status(said: str | None) -> str | None:
    if not said:
        return None
    status = said.strip().lower().replace(" ", "_")
    if status not in STATUSES:
        raise JudgingError(f"there is no status {said!r}; choose from {', '.join(STATUSES)}")
    return status


def _meaning(said: str, roles: tuple[str, ...], vocabulary: Vocabulary) -> str | None:
    """What a wording means, where the whole of it is one wording of such a role."""
    tokens = tokens_of(said)
    found = vocabulary.words.longest(tokens, 0) if tokens else None
    if found is None or found[1] < len(tokens) or found[0].role not in roles:
        return None
    return found[0].meaning
