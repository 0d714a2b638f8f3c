"""A broad list of patterns that find talk of reflexes, written from the trade and never from the word lists.

Gives the places of such talk in a text, and the places of look-alikes, whose talk is of something else.
The patterns are wide on purpose: misspellings, run-together words, abbreviations. Common practice, no source.
"""

import re
from collections.abc import Iterator

_TENDONS = "knee|ankle|jaw|biceps?|triceps?|supinator|tendon|finger|achill\\w+|patell?ar|pectoral|adductor"
_NEWBORN = "palmomental|glabellar|rooting|snout|grasp|suck(?:ing)?|moro|babkin|galant|landau|parachute"
_RESPONSES = "responses?|stimulation|sign|down|upg?|flexor|extensor|mute|silent|equiv"

FAMILIES = {
    "reflex": r"\w*(?:ref?f?lex|reflx|refelx|relfex|refex)(?:es|s|ia|ic|cs)?\b",
    "dtr": r"\bd\.?\s?t\.?\s?r'?s?\b",
    "jerk": rf"\b(?:{_TENDONS})[\s-]?jerks?\b",
    "shorthand": r"\b[KABTS]J'?s?\b(?=\s*:?\s*(?:[0-5]|\+|absent|brisk|R\b|L\b))",
    "babinski": r"\bbab[iy]n?s?k[iy]\w*",
    "clonus": r"\bc[lo]+l?on[ou][sx]\b",
    "hoffmann": r"\bhoff?mann?'?s?\b",
    "tromner": r"\btr[oö]e?mner'?s?\b",
    "plantar response": rf"\bplan?t[ae]rs?\b[\s:]{{0,3}}(?:{_RESPONSES})|\bplan?t[ae]rs\s+(?:were|are)\b",
    "toes": r"\btoes?\s+(?:(?:are|is|were|was|both|go|going)\s+)?(?:down|up(?!per)|mute|silent|equivocal)\w*",
    "named variant": r"\b(?:chaddock|oppenheim|gordon|schae?ff?er|rossolimo)'?s?\s+(?:sign|reflex|response)",
    "grasp and kin": rf"\b(?:{_NEWBORN})\s+(?:reflex|response|sign)\w*",
    "superficial": r"\b(?:anal\s+wink|(?:cremasteric|bulbocavernos\w+|abdominal|anal)\s+reflex\w*)",
}
_TALK = {name: re.compile(pattern, re.IGNORECASE) for name, pattern in FAMILIES.items()}

_OTHER_REFLEXES = (
    *(
        "light",
        "red",
        "pupillary",
        "pupil",
        "corneal",
        "gag",
        "blink",
        "cough",
        r"swallow\w*",
        "acoustic",
        "h",
    ),
    *(r"vestibul\w*\W?\w*cular", r"oculo\w+", "stapedial", "startle", "vagal", "vasovagal", "acid"),
    *(r"gastro\W?\w+", r"hepato\W?jugular", "micturition", "detrusor", r"let\W?down", "baroreceptor"),
    *("accommodation", "consensual", "menace", r"brain\W?stem", "diving", "cold", "righting", "postural"),
    *("conditioned", "withdrawal", "axon", "retinal", "foveal", "palatal", "pharyngeal", "autonomic"),
    *("carotid", "sneeze", "optical", "marginal"),
)
_OTHER_USES = (
    *(r"tachy\w+", r"brady\w+", "syncope", "spasms?", "hammers?", "arcs?", "incontinence", "bladder"),
    *("guarding", "action", "movements?", "epilepsy", "cough", "decay", r"threshold\w*"),
)
_SEIZURE = r"\b(?:seizures?|convuls\w+|epilep\w+|sz|tonic[\s-]clonic)\b"
_PLAN = r"\b(?:will|plan|please|to|needs?|let\s+me|going\s+to)\b[^.\n]{0,20}"
_TEST = r"\b(?:re-?check|re-?test|examine|check|repeat|monitor)"

LOOK_ALIKES = {
    "other reflex": rf"\b(?:{'|'.join(_OTHER_REFLEXES)})[\s-]+reflex\w*",
    "reflux": r"\b\w*reflux\w*",
    "dystrophy": r"\breflex\s+(?:sympath\w+|neurovascular|dystroph\w+)\b|\brsd\b",
    "laboratory": r"\b(?:with|w|w/|w\.)\s?reflex\b|\breflex\s+(?:to|if|culture|testing|tsh|panel|microscopy)",
    "other word": r"\breflex(?:ion|ology|ive)\w*|\breflexed\b|\bdys\s?reflex\w*|\breflections?\b",
    "bladder": r"\b(?:autonomic|detrusor|bladder)\s+\w*reflexi\w+|\b\w*reflexic\s+(?:bladder|detrusor)",
    "examination as such": r"\b(?:full|complete|formal|detailed)\s+reflex\s+(?:exam\w*|assessment|testing)",
    "myoclonus": r"\b\w*(?:my|ops|p|m)o?c?lonus\b|\b(?:my|ops)oclon\w+|\bclon(?:ic|azepam|idine)\b",
    "seizure": rf"{_SEIZURE}[^.\n]{{0,80}}\bclonus\b|\bclonus\b[^.\n]{{0,80}}{_SEIZURE}",
    "limb of a seizure": r"\b(?:generali[sz]ed|arm|leg|jaw|facial)\s+clonus\b",
    "other use": rf"\breflex\s+(?:{'|'.join(_OTHER_USES)})",
    "disease": r"\bwerd?nig\W{0,3}hoff?mann?",
    "legend": r"\b(?:reflex\s+)?(?:scale|grading|legend|key:)[^\n]{0,120}|\b[0-5]\+?\s*=\s*[^,)\n]{0,40}",
    "explained grades": r"(?:\b[0-5]\+?[:=]?\s+[a-z][a-z ]{2,20}[,;]\s*){2,}[0-5]\+?[:=]?\s+[a-z ]+",
    "empty box": r"\[\s*\][^\[\n]{0,40}",
    "idiom": r"\bknee[\s-]?jerk\s+reactions?\b|\brandom\s+knee\s+jerks\b",
    "nerve test": r"\b(?:tinel\w*\W{1,5}(?:and\W)?hoff?mann?|hoff?mann?\W{1,3}tinel)\w*",
    "plan": rf"(?:{_PLAN}{_TEST}|\brecheck|\btesting)\b[^.\n]{{0,60}}",
    "foot muscle": r"\bplantar\s+flexors?[\s,]+(?:spasm|strength|power|weak|muscle|invert|[0-5]/5)\w*",
    "toes of a fall or a feeling": r"\b(?:curled|curling|from|tingling\s+in)\s+toes\s+up\b",
}
_ALIKE = [re.compile(pattern, re.IGNORECASE) for pattern in LOOK_ALIKES.values()]

_HEADS = frozenset({"reflex", "dtr", "jerk", "superficial", "plantar response"})
_FAR = 80
_SENTENCE_END = re.compile(r"(?<!\d)[.!?]\s")


def heads(text: str, family: str, end: int, starts: list[int]) -> bool:
    """Whether a noun only heads the findings that begin right after it, in the same sentence or table."""
    after = min((start for start in starts if start >= end), default=None)
    if family not in _HEADS or after is None or after - end > _FAR:
        return False
    return _SENTENCE_END.search(text, end + 2, after) is None


def talk_in(text: str) -> Iterator[tuple[str, int, int]]:
    """Family, start and end of every piece of reflex talk that no look-alike explains."""
    explained = [match.span() for pattern in _ALIKE for match in pattern.finditer(text)]
    for family, pattern in _TALK.items():
        for match in pattern.finditer(text):
            start, end = match.span()
            if not any(low < end and start < high for low, high in explained):
                yield family, start, end
