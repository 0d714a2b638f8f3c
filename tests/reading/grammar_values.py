"""What a derived sentence says of a reflex: the shape `phrase`, by the labelling rules of the cases.

Gives a Value, and for a Thing with a Value the row of a case. Raises UnclearError where careful people
would differ.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from derivations import Node
from grammar_things import OPPOSITE, Thing, UnclearError, clear
from grammar_words import Said

_STRONG = frozenset({"brisk", "hyperactive", "diminished"})
_STATES = frozenset({"absent", "trace", "diminished", "normal", "intact", "brisk", "hyperactive", "present"})
_COLUMN = {"REINFORCEMENT": "reinforcement", "MANOEUVRE": "manoeuvre", "POSITION": "position"}
_COLUMN |= {"TECHNIQUE": "technique", "QUALITY": "quality"}


@dataclass(frozen=True, slots=True)
class Value:
    """What is said of a reflex: the words for it, and what stands around them."""

    said: Said
    other: Said | None = None
    side: str = "unspecified"
    negated: bool = False
    doubted: bool = False
    columns: dict[str, str] = field(default_factory=dict)

    @property
    def role(self) -> str:
        return self.said.role


def value_of(node: Node) -> Value:
    """The meaning of a `phrase`."""
    at = next((i for i, p in enumerate(node.parts) if isinstance(p, Node) and p.name == "value"), None)
    if at is None:
        raise UnclearError("manner alone is said of a value before it")
    value = Value(_only(node.parts[at]))
    for part in node.parts[:at]:
        value = _led(value, part)
    mores = [part for part in node.parts[at + 1 :] if isinstance(part, Node)]
    clear(len(mores) <= 2, "a value with three things behind it is no note's")
    for part in mores:
        value = _with_more(value, part, part is mores[-1])
    return value


def _only(node: Node | Said) -> Said:
    part = node.parts[0] if isinstance(node, Node) else node
    assert isinstance(part, Said)
    return part


def _led(value: Value, part: Node | Said) -> Value:
    word = value.role == "VALUE" and value.said.meaning in _STATES and not value.said.flags
    clear(isinstance(part, Said), "manner before a value may belong to what stands before it")
    assert isinstance(part, Said)
    clear(not (value.negated or value.doubted), "one word leads a value")
    if part.role == "NO":
        clear(word and value.said.meaning in _STRONG, "only a word for strength is denied before its reflex")
        return replace(value, negated=True)
    clear(part.role == "UNCERTAIN" and word, "`more` compares; doubt stands before a word")
    return replace(value, doubted=True)


def _with_more(value: Value, node: Node, last: bool) -> Value:
    inner, words = node.first("value"), [part for part in node.parts if isinstance(part, Said)]
    roles = [word.role for word in words]
    if inner is not None:
        return _two_values(value, words, _only(inner))
    if "THAN" in roles or "NO" in roles or "ONLY" in roles:
        raise UnclearError("a comparison, a denied manner and `only` are other shapes' business")
    manner = node.first("manner")
    if manner is not None:
        return _with_manner(value, words, _only(manner))
    sides = [word for word in words if word.role == "SIDE"]
    clear(value.side == "unspecified" and value.role != "PAIR", "a side is said once")
    if not sides or words[0].text == "=":
        clear(not sides or sides[0].meaning == "both", "equal is said of both sides")
        clear(last, "a bare `=` ends what is said")
        return replace(value, side="both")
    clear(
        sides[0].meaning in OPPOSITE or sides[0].meaning == "both", "the same or other side needs one before"
    )
    clear(words[0].text != "," or sides[0].meaning == "both", "a side after a comma may lead what follows")
    clear(
        "letter" not in sides[0].flags or words[0].role == "SIDE", "a letter for a side stands right beside"
    )
    return replace(value, side=sides[0].meaning)


def _two_values(value: Value, words: Sequence[Said], new: Said) -> Value:
    first = value.said
    joined = words[0] if words else None
    if joined is not None and joined.text == "/" and first.role == new.role == "RESPONSE":
        clear(not (first.flags | new.flags) and first.meaning != new.meaning, "arrows stand close together")
        clear(value == Value(first), "two responses stand alone")
        return replace(value, other=new)
    weak = "weak" in new.flags and new.meaning == "symmetric" and first.role in ("GRADE", "VALUE")
    clear(weak and "weak" not in first.flags, "two values of one reflex contradict each other")
    clear(joined is None or joined.role == "AND" or joined.text == ",", "a second word is joined by `and`")
    clear(value.side in ("unspecified", "both"), "what is symmetric has no one side")
    clear(not (value.negated or value.doubted), "a denial may reach the second word")
    clear(first.meaning != "asymmetric", "two values of one reflex contradict each other")
    return replace(value, side="both")


def _with_manner(value: Value, words: Sequence[Said], manner: Said) -> Value:
    clear(manner.role in _COLUMN, "how clonus lasts and what was before are no manner of a grade")
    clear(not words or words[0].text == ",", "words of manner bring their own `with`")
    clear(manner.meaning and not value.columns, "one manner with a name")
    clear(manner.role != "MANOEUVRE", "a manoeuvre is named after `with`")
    clear(value.role in ("GRADE", "VALUE", "PAIR"), "only a stretch reflex is reinforced")
    clear("weak" not in value.said.flags, "manner is said of a strength")
    name, _, manoeuvre = manner.meaning.partition(":")
    columns = {_COLUMN[manner.role]: name} | ({"manoeuvre": manoeuvre} if manoeuvre else {})
    return replace(value, columns=columns)


def rows_for(about: Thing, value: Value, **more: str) -> list[dict[str, str]]:
    """The rows of a case for a reflex and what is said of it."""
    clear(not about.implied, "a state that is named takes no other value")
    clear("unspecified" in (about.side, value.side), "a side is said once")
    clear(not about.doubted, "doubt before a name that has a value may mean the name")
    if value.role == "PAIR" or value.other is not None:
        return _two_sides(about, value, more)
    side = about.side if about.side != "unspecified" else value.side
    symmetric = value.said.meaning == "symmetric" and value.role == "VALUE"
    clear(not symmetric or side in ("unspecified", "both"), "what is symmetric has no one side")
    side = "both" if symmetric else side
    return [_row(about.on(side), value, _cell(about, value, value.said), more)]


def _two_sides(about: Thing, value: Value, more: dict[str, str]) -> list[dict[str, str]]:
    clear(
        about.side in ("unspecified", "both") and about.kind in ("stretch", "plantar"),
        "a pair has both sides",
    )
    order = more.pop("order", "right-left").split("-")
    if value.other is not None:
        cells = [_cell(about, value, value.said), _cell(about, value, value.other)]
    else:
        clear(about.kind == "stretch" and not about.sign, "a toe and a sign have no grade")
        cells = value.said.cell.split()
    return [_row(about.on(side), value, cell, more) for side, cell in zip(order, cells, strict=True)]


def _cell(about: Thing, value: Value, said: Said) -> str:
    clear(not said.flags - {"weak", "arrow"}, "a word of doubt or for both sides is another shape")
    if about.kind == "plantar":
        return _plantar_cell(about, said)
    if about.kind == "clonus":
        return _clonus_cell(said)
    if about.sign or about.kind == "primitive":
        return _sign_cell(said)
    if about.kind == "superficial":
        clear(
            said.role == "VALUE" and said.meaning in ("present", "absent", "normal"),
            "a skin reflex is there or not",
        )
        return said.meaning
    clear(said.role in ("GRADE", "VALUE"), "a stretch reflex has a strength")
    return said.cell or said.meaning


def _plantar_cell(about: Thing, said: Said) -> str:
    if about.sign:
        clear(about.name != "flexor", "a flexor response is not positive or negative")
        clear(said.role == "POLARITY", "a Babinski sign is positive or negative")
        return "extensor" if said.meaning == "positive" else "not_extensor"
    clear(said.role == "RESPONSE", "a plantar response is a direction")
    clear("arrow" not in said.flags or said.meaning != "equivocal", "a level arrow has no one meaning")
    return said.meaning


def _clonus_cell(said: Said) -> str:
    if said.role == "COUNT":
        return f"{said.cell} beats"
    if said.role == "POLARITY":
        return "present" if said.meaning == "positive" else "absent"
    clear(said.role == "VALUE" and said.meaning in ("present", "absent"), "clonus is there or not")
    return said.meaning


def _sign_cell(said: Said) -> str:
    if said.role == "POLARITY":
        return "present" if said.meaning == "positive" else "absent"
    clear(said.role == "VALUE" and said.meaning in ("present", "absent"), "a sign is there or not")
    return said.meaning


def _row(about: Thing, value: Value, cell: str, more: dict[str, str]) -> dict[str, str]:
    row = row_of(about, cell, **value.columns, **more)
    if value.negated:
        clear(about.kind == "stretch" and not about.sign, "a denied strength is a stretch reflex's")
        row["negated"] = "yes"
    if value.doubted:
        clear(about.kind == "stretch" and not about.sign, "doubt about a sign is another shape")
        row["certainty"] = "uncertain"
    return row


def row_of(about: Thing, cell: str, **more: str) -> dict[str, str]:
    """The row of a case for one reflex."""
    which = about.which
    return {"site": about.site, "side": about.side, "value": cell, "which": which, "root": about.root, **more}
