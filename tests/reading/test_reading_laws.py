"""Laws that hold for any note: nothing raises, the same text reads the same, and spans never lie."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mutated_notes import STRAY, mutations
from reading_laws import hold_laws
from written_notes import read_text, written_notes

from converter.words import Word, shipped_vocabulary
from converter.words.phrases import tokens_of, wordings

NOTES = written_notes()
FORMS = 4
"""Changed forms of each written note."""
PIECES = st.sampled_from([*STRAY, " ", ". ", "\n", "KJ", "AJs", "2+/2+", "trace", "upgoing", "Jendrassik"])
ANY_TEXT = st.lists(PIECES, max_size=40).map("".join) | st.lists(PIECES, max_size=40).map(" ".join)


@pytest.mark.parametrize("name", NOTES)
def test_written_notes_keep_the_laws(name: str) -> None:
    hold_laws(NOTES[name])


def test_changed_notes_keep_the_laws() -> None:
    for name, text in NOTES.items():
        for changed in mutations(text[:1500], name, FORMS):
            try:
                hold_laws(changed)
            except Exception as error:
                raise AssertionError(f"{name}, changed to {changed!r}: {error}") from error


@settings(max_examples=400, deadline=None)
@given(ANY_TEXT)
def test_any_pieces_keep_the_laws(text: str) -> None:
    hold_laws(text)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=80).map(lambda text: f"DTRs {text} 2+"))
def test_any_characters_keep_the_laws(text: str) -> None:
    hold_laws(text.encode("utf-8", "replace").decode())


def names_of(site: str) -> frozenset[tuple[str, ...]]:
    """The wordings that can name a site, as tokens: its own, those of a wider one, and the general noun."""
    cells = shipped_vocabulary().cells
    in_cells = [
        *cells.letters.items(),
        *cells.beside_knee.items(),
        *cells.among_reflexes.items(),
        *cells.names.items(),
        *cells.limbs.items(),
    ]
    return frozenset(
        tokens_of(word) for word, meaning in in_cells if meaning.partition(":")[0] == site
    ) | frozenset(
        tokens_of(wording)
        for row in shipped_vocabulary().rows
        if row.role in ("site", "region", "condition", "reflex", "anaphor") and _names(row, site)
        for wording in wordings(row.phrase)
    )


def shares_a_noun(spoken: set[tuple[str, ...]], site: str, text: str) -> bool:
    """As in "palmar and plantar grasps": whether the rest of a name stands with the next one."""
    said = tokens_of(text.lower())
    return any(name[:1] in spoken and set(name[1:]) <= set(said) for name in names_of(site) if len(name) > 1)


def around_marks(words: tuple[str, ...]) -> set[tuple[str, ...]]:
    """As in "patellar (knee)", "clonus - knee", "R UL": the names between marks and sides."""
    marked = " ".join("|" if word in ("(", ")", "-", "r", "l") else word for word in words)
    return {tuple(part.split()) for part in marked.split("|")} - {()}


def _names(row: Word, site: str) -> bool:
    named = row.meaning.partition(":")[0]
    joint = {"ankle_clonus": "achilles", "knee_clonus": "patellar"}
    general = row.role in ("condition", "reflex", "anaphor") and site in ("unspecified", *REGIONS)
    clonus = site.endswith("clonus") and named == "clonus_unspecified"
    return named == site or general or clonus or named == joint.get(site)


def spelt(word: str) -> str:
    """A misspelt name as it should be; other words as they are."""
    return shipped_vocabulary().spelling.mended(word) or word


REGIONS = frozenset({"upper_limb_all", "lower_limb_all", "all_limbs"})


@pytest.mark.parametrize("name", NOTES)
def test_the_site_of_a_finding_stands_in_its_spans(name: str) -> None:
    text = NOTES[name]
    for finding in read_text(text).findings:
        places = {(span.start, span.end): span.role for span in finding.spans}
        if len(places) < len(finding.spans) and finding.quote == finding.as_written:
            continue  # a drawn figure names its sites by the place of the grade
        said = [tuple(map(spelt, tokens_of(text[start:end].lower()))) for start, end in places]
        spoken = {tuple(token for token in words if token not in ("-", "_", "\n", ",")) for words in said}
        spoken |= {*said, *(part for words in said for part in around_marks(words))}
        named = spoken & names_of(finding.site) or shares_a_noun(spoken, finding.site, text)
        assert named or finding.site == "unspecified", finding


def test_side_spans_name_the_side() -> None:
    ours = {"left": ("l", "lt", "lft", "lue", "lle"), "right": ("r", "rt", "rght", "rue", "rle")}
    for text in NOTES.values():
        for finding in read_text(text).findings:
            said = [text[s.start : s.end].lower() for s in finding.spans if s.role == "side"]
            other = {"left": "right", "right": "left"}.get(finding.side)
            wrong = [w for w in said if other and w.startswith(other) and finding.side not in w]
            right = [w for w in said if finding.side in w or w in ours.get(finding.side, ())]
            assert not wrong or right, finding
