"""What a note's "no" and "not" leave of a finding, so that no code says the opposite of the note.

"No clonus" and "Hoffmann negative" are read as absent, "no Babinski" as flexor or not extensor: there the
denial is the value. "Not absent", "no hyperreflexia" and "not 3+" deny the value itself, and "no sustained
clonus" denies that it lasts, not that there is any.
"""

from converter.model import Finding
from converter.words import Vocabulary
from converter.words.phrases import tokens_of


def is_denied(finding: Finding, vocabulary: Vocabulary) -> bool:
    """Whether the note denies what the value names, and the value is not itself the outcome of the denial."""
    if not finding.negated or finding.response is not None:
        return False
    if finding.level == "absent":
        return False
    return finding.descriptor != "absent" or _denies_absence(finding, vocabulary)


def plantar_response(finding: Finding) -> str | None:
    """The plantar response; an extensor response that is denied is `not_extensor`."""
    return "not_extensor" if finding.negated and finding.response == "extensor" else finding.response


def clonus_duration(finding: Finding) -> str | None:
    """Whether clonus lasts; sustained clonus that is denied is `not_sustained`."""
    if finding.sustained is None:
        return None
    return "sustained" if finding.sustained and not finding.negated else "not_sustained"


def denies_only_duration(finding: Finding) -> bool:
    """Whether the note says of clonus no more than that it does not last."""
    return finding.negated and finding.sustained is not None


def _denies_absence(finding: Finding, vocabulary: Vocabulary) -> bool:
    """Whether "not" stands before a word that itself means absent, of a reflex that is no sign.

    A sign such as Hoffmann's is denied by the very word: "Hoffmann absent" is read as denied and absent.
    """
    if finding.kind != "stretch" or finding.as_written is None or finding.site in _signs(vocabulary):
        return False
    tokens = tokens_of(finding.as_written)
    found = vocabulary.words.longest(tokens, 0)
    return found is not None and (found[0].role, found[0].meaning, found[1]) == (
        "value",
        "absent",
        len(tokens),
    )


def _signs(vocabulary: Vocabulary) -> set[str]:
    """The reflexes whose bare name means that they are present."""
    return {
        row.meaning.partition(":")[0] for row in vocabulary.rows if row.role == "site" and "sign" in row.flags
    }
