"""A broad list of patterns that find talk of reflexes, written from the trade and never from the word lists.

Gives the places of such talk in a text, and the places of look-alikes, whose talk is of something else.
The patterns are wide on purpose: common misspellings, run-together words, abbreviations. Common practice, no source.
"""

import re
from collections.abc import Iterator

FAMILIES = {
    "reflex": r"\w*(?:ref?f?lex|reflx|refelx|relfex|refex)(?:es|s|ia|ic|cs)?\b",
    "dtr": r"\bd\.?\s?t\.?\s?r'?s?\b",
    "jerk": r"\b(?:knee|ankle|jaw|biceps?|triceps?|supinator|tendon|finger|achill\w+|patell?ar|pectoral|adductor)"
    r"[\s-]?jerks?\b",
    "shorthand": r"\b[KABTS]J'?s?\b(?=\s*:?\s*(?:[0-5]|\+|absent|brisk|R\b|L\b))",
    "babinski": r"\bbab[iy]n?s?k[iy]\w*",
    "clonus": r"\bc[lo]+l?onu?[sx]\b",
    "hoffmann": r"\bhoff?mann?'?s?\b",
    "tromner": r"\btr[oö]e?mner'?s?\b",
    "plantar response": r"\bplan?t[ae]rs?\b[\s:]{0,3}(?:responses?|stimulation|sign|down|upg?|flexor|extensor|mute|silent|equiv)"
    r"|\bplan?t[ae]rs\b[\s:]{0,3}(?:were|are)",
    "toes": r"\btoes?\s+(?:(?:are|is|were|was|both|go|going)\s+)?(?:down|up(?!per)|mute|silent|equivocal)\w*",
    "named variant": r"\b(?:chaddock|oppenheim|gordon|schae?ff?er|rossolimo|mendel)'?s?\s+(?:sign|reflex|response)",
    "grasp and kin": r"\b(?:palmomental|glabellar|rooting|snout|grasp|suck(?:ing)?|moro|babkin|galant|landau|parachute)"
    r"\s+(?:reflex|response|sign)\w*",
    "superficial": r"\b(?:anal\s+wink|(?:cremasteric|bulbocavernos\w+|abdominal|anal)\s+reflex\w*)",
}  # fmt: skip
_TALK = {name: re.compile(pattern, re.IGNORECASE) for name, pattern in FAMILIES.items()}

LOOK_ALIKES = {
    "other reflex": r"\b(?:light|red|pupillary|pupil|corneal|gag|blink|cough|swallow\w*|vestibul[oa]r?\W?ocular|oculo\w+|acoustic|"
    r"stapedial|startle|vagal|vasovagal|acid|gastro\W?\w+|hepato\W?jugular|micturition|detrusor|let\W?down|baroreceptor|"
    r"accommodation|consensual|menace|brain\W?stem|diving|h|cold|righting|postural|conditioned|withdrawal|axon|retinal|"
    r"foveal|palatal|pharyngeal|autonomic|carotid|sneeze|optical|marginal)[\s-]+reflex\w*",
    "reflux": r"\b\w*reflux\w*",
    "dystrophy": r"\breflex\s+(?:sympath\w+|neurovascular|dystroph\w+)\b|\brsd\b",
    "laboratory": r"\b(?:with|w|w/|w\.)\s?reflex\b|\breflex(?:ed)?\s+(?:to|if|culture|testing|tsh|t4|panel|microscop\w+)\b",
    "other word": r"\breflex(?:ion|ology|ive)\w*|\breflexed\b|\bdys\s?reflex\w*|\breflections?\b",
    "myoclonus": r"\b\w*(?:my|ops|p|m)o?c?lonus\b|\b(?:my|ops)oclon\w+|\bclon(?:ic|azepam|idine)\b",
    "seizure": r"\b(?:seizures?|convuls\w+|epilep\w+|sz)\b[^.\n]{0,80}\bclonus\b|\bclonus\b[^.\n]{0,80}\b(?:seizure|convuls\w+)",
    "other use": r"\breflex\s+(?:tachy\w+|brady\w+|syncope|spasms?|hammers?|arcs?|incontinence|bladder|guarding|action|"
    r"movements?|epilepsy|cough|decay|threshold\w*)",
    "disease": r"\bwerd?nig\W{0,3}hoff?mann?",
    "legend": r"\b(?:scale|grading|legend|key)\b[^\n]{0,200}",
    "idiom": r"\bknee[\s-]?jerk\s+reactions?\b",
    "nerve test": r"\b(?:tinel\w*\W{1,5}(?:and\W)?hoff?mann?|hoff?mann?\W{1,3}tinel)\w*",
    "plan": r"\b(?:(?:will|plan|please|to|needs?|let\s+me|going\s+to)\b[^.\n]{0,20}\b(?:re-?check|re-?test|examine|check|repeat|monitor)"
    r"|recheck|testing)\b[^.\n]{0,60}",
    "foot muscle": r"\bplantar\s+flexors?[\s,]+(?:spasm\w*|strength|power|weak\w*|muscles?|invert\w+|[0-5]/5)",
}
_ALIKE = [re.compile(pattern, re.IGNORECASE) for pattern in LOOK_ALIKES.values()]


_HEADS = frozenset({"reflex", "dtr", "jerk", "superficial", "plantar response"})
_FAR = 80
_SENTENCE_END = re.compile(r"[.!?]\s")


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
            if not any(low <= start and end <= high or start <= low < end for low, high in explained):
                yield family, start, end
