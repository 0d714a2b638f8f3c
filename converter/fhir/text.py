"""Makes text from a note fit for a FHIR string, a code or a URI, one character for one."""

import re
from urllib.parse import quote

# FHIR strings hold no control characters besides tab and line ends (R4 datatypes, string); lone surrogates
# cannot be written as UTF-8; the last two code points of the plane have no place in XML.
_FORBIDDEN = re.compile("[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")
# Other white space than the four that the FHIR pattern `[ \r\n\t\S]+` names.
_ODD_SPACE = re.compile(r"[^\S \r\n\t]|[\x1c-\x1f]")
_CODE = re.compile(r"[^\s]+(\s[^\s]+)*")


def fhir_string(text: str | None) -> str | None:
    """Text as a FHIR string, or None where nothing is left to say.

    Odd spaces become plain ones and forbidden characters U+FFFD, so that offsets into the text stay true.
    """
    if not text or text.isspace():
        return None
    if text.isascii() and text.isprintable():  # most text; nothing in it is odd or forbidden
        return text
    return _FORBIDDEN.sub("\ufffd", _ODD_SPACE.sub(" ", text))


def fhir_identifier(text: str) -> str | None:
    """An identifier as a FHIR string, or None for a blank one.

    One that no FHIR string can hold is percent-encoded rather than mended, so that two never become one.
    """
    mended = fhir_string(text)
    return mended if mended in (None, text) else quote(text, safe=" ", errors="surrogatepass")


def fhir_uri(text: str) -> str:
    """Text as a URI, without characters that no URI holds; one that is already fit is unchanged."""
    return quote(text, safe="!#$%&'()*+,/:;=?@[]~-._", errors="replace")


def kebab(value: str) -> str:
    """A value of the finding record as a code: `not_extensor` becomes `not-extensor`."""
    return value.replace("_", "-")


def plain_words(value: str) -> str:
    """A value of the finding record in words: `through_finger` becomes `through finger`."""
    return value.replace("_", " ").replace("-", " ")


def sentence_case(text: str) -> str:
    """Text with its first letter in upper case, the rest as it stands."""
    return text[:1].upper() + text[1:]
