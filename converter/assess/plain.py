"""Text from a note made safe to show: no character of it can steer a terminal or break a drawing."""

_UNSEEN = "\N{REPLACEMENT CHARACTER}"


def printable(line: str) -> str:
    """One line with every character that cannot be seen replaced, so that none is lost silently."""
    return "".join(letter if letter.isprintable() else _UNSEEN for letter in line)
