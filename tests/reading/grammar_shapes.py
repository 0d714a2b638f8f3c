"""What each sentence shape says: for a derivation, the note and the rows of a case it must read to.

A shape that needs something before or behind it is set into a frame. Raises UnclearError where careful
people would differ; the message is the reason why the generator leaves such sentences out.
"""

from collections.abc import Callable, Sequence

from derivations import Node, written
from grammar_things import OPPOSITE, Thing, clear, thing, things
from grammar_values import Value, row_of, rows_for, value_of
from grammar_words import Said

Rows = list[dict[str, str]]


def note_and_rows(node: Node) -> tuple[str, Rows]:
    """The note that holds a derived shape, and what a careful reader takes from it."""
    return _SHAPES[node.name](node)


def _in_context(node: Node, found: Sequence[Thing], value_before: bool = False) -> str:
    """A joint, muscle or region names a reflex only where reflexes are spoken of."""
    if all(one.own_noun for one in found):
        return f"{written(node)}."
    return f"Reflexes were tested.\n{written(node)}." if value_before else f"Reflexes: {written(node)}."


def _fits_bare(value: Value, linked: bool) -> None:
    lone = value.role == "GRADE" and value.said.text.isdigit()
    clear(linked or not lone, "a lone digit away from its name may count something")


def _link(node: Node, value: Value | None) -> None:
    link = node.first("link")
    if link is None:
        return
    mark = link.parts[0].text if isinstance(link.parts[0], Said) else ""
    clear(mark != "-" or value is None or value.role != "GRADE", "a dash before a number may be a minus")
    clear(mark != ",", "a comma may end what was said of the name")


def named_value(node: Node) -> tuple[str, Rows]:
    found, value = things(node.all("targets")[0]), value_of(node.all("phrase")[0])
    _link(node, value)
    _fits_bare(value, node.first("link") is not None or found[-1].one)
    about = found
    places = node.first("places")
    if places is not None:
        clear(len(found) == 1 and found[0].general and not found[0].implied, "only the noun alone has places")
        clear(bool(places.words("AT")), "a place without `at` may begin another statement")
        about = [place.on(place.side) for place in things(places.all("targets")[0])]
        clear(all(place.one or place.region for place in about), "a place is a reflex or a region")
        clear(value.side == "unspecified", "a side before the places may be another statement")
        clear(not any(place.own_noun or place.sign for place in about), "a place is named without its noun")
    rows = [row for one in about for row in rows_for(one, value)]
    rows += _other_sides(node, about, value)
    return _in_context(node, found), rows


def _other_sides(node: Node, about: Sequence[Thing], value: Value) -> Rows:
    again = node.all("side_value")
    clear(len(again) <= 1, "a body has two sides")
    if not again:
        return []
    clear(len(about) == 1 and about[0].one, "another side's value belongs to one reflex")
    side = about[0].side if about[0].side != "unspecified" else value.side
    clear(side in OPPOSITE, "another side needs a side before")
    clear(not value.columns and not value.negated, "manner before another side may be said of both")
    other = value_of(again[0].all("phrase")[0])
    clear(other.role == value.role and not other.columns and not other.negated, "two sides are said alike")
    clear(other.side == "unspecified" and other.other is None, "a side is said once")
    clear(other.said.meaning not in ("symmetric", "present"), "what is symmetric has no one side")
    _fits_bare(other, False)
    said = again[0].words("SIDE")[0]
    clear(said.meaning == OPPOSITE[side], "another side's value is the other side's")
    clear("letter" not in said.flags or not again[0].words("AT"), "a letter for a side stands right beside")
    return rows_for(about[0].on(said.meaning), other)


def value_named(node: Node) -> tuple[str, Rows]:
    found, value = things(node.all("targets")[0]), value_of(node.all("phrase")[0])
    lead = _lead_side(node, found, value)
    at = [word for word in node.words("AT") if word is not node.parts[0]]
    clear(not node.words("ONLY"), "`only` says of the others what is not said")
    _fits_bare(value, False)
    clear(value.role not in ("COUNT", "POLARITY") or not at, "a sign is not at its own place")
    clear(not value.columns or at, "words of manner before a name may be the name's")
    clear(value.said.meaning != "present" or not at, "`present at` names a place")
    clear("=" not in written(node.all("phrase")[0]), "`=` before a name is a link")
    clear(value.side not in OPPOSITE or not at, "a side before `at` may be the place's or the value's")
    found = [one.on(lead) for one in found] if lead else found
    late = [] if lead else node.words("SIDE")
    if late:
        clear(late[0].meaning == "both", "a side after a comma may lead what follows")
        clear(all(one.side == "unspecified" for one in found), "a side is said once")
        clear(value.side == "unspecified", "a side is said once")
        found = [one.on("both") for one in found]
    rows = [row for one in found for row in rows_for(one, value)]
    rows += _other_sides(node, found, value)
    if all(one.own_noun and one.one for one in found):
        return f"Reflexes: {written(node)}.", rows
    return _in_context(node, found, value_before=True), rows


def _lead_side(node: Node, found: Sequence[Thing], value: Value) -> str:
    at_start = isinstance(node.parts[0], Said)
    if not at_start:
        return ""
    side = next(part for part in node.parts if isinstance(part, Said) and part.role == "SIDE")
    clear(side.meaning in OPPOSITE, "`bilateral` before a value may be said of what stands before")
    clear("letter" not in side.flags, "a letter for a side stands right beside its reflex")
    clear(all(one.side == "unspecified" for one in found), "a side is said once")
    clear(value.side == "unspecified" and value.role == "GRADE", "a side is said once")
    clear(not any(word.text == "," for word in node.words("mark")), "a side is said once")
    return side.meaning


def denied(node: Node) -> tuple[str, Rows]:
    found = [thing(part) for part in node.all("target")]
    modifiers = node.all("denied_value")
    clear(len(modifiers) <= 1, "a second word may be what is there instead")
    ors = node.words("AND")
    clear(all("or" in word.flags for word in ors), "`and` after `no` may begin what is there")
    commas = [word for word in node.words("mark") if word.text == ","]
    last = node.words("AND", "mark")
    clear(not commas or (ors and last[-1].role == "AND"), "commas after `no` need an `or` at the end")
    clear(
        len(found) == 1 or all(one.sign and one.kind != "primitive" for one in found),
        "a denied list holds signs",
    )
    clear(not any(one.doubted for one in found), "doubt inside a denial has no one meaning")
    clear(len({one.site for one in found}) == len(found), "a list names each once")
    side = node.words("SIDE")
    sides = {one.side for one in found}
    clear(len(found) == 1 or sides == {"unspecified"}, "a side inside a denied list may serve one or all")
    if side:
        clear(
            sides == {"unspecified"} and side[0].meaning in ("left", "right", "both"), "a side is said once"
        )
        clear("letter" not in side[0].flags, "a letter for a side stands right beside its reflex")
        found = [one.on(side[0].meaning) for one in found]
    word = modifiers[0].parts[0] if modifiers else None
    rows = [_denied_row(one, word) for one in found]  # type: ignore[arg-type]
    for after in node.words("VALUE"):
        clear(after.text in ("elicited", "obtained") and not word, "after `no` only `elicited` still denies")
        clear(all(one.kind == "stretch" and not one.sign for one in found), "a sign is there, not elicited")
    return _in_context(node, found), rows


def _denied_row(one: Thing, word: Said | None) -> dict[str, str]:
    clear(not one.region, "no arms are no finding")
    role = word.role if word is not None else ""
    clear(role in ("", "VALUE", "RESPONSE"), "beats or a strange word after `no` deny only themselves")
    if one.implied:
        clear(not role, "a state takes no other word")
        clear(one.implied in ("hyperactive", "diminished", "absent"), "only a strength is denied")
        return row_of(one, one.implied, negated="yes")
    if one.kind == "plantar":
        clear(role == ("" if one.sign else "RESPONSE"), "no plantar response at all is not its direction")
        clear(not one.name and (not word or word.meaning == "extensor"), "only extension is denied")
        clear(not word or "arrow" not in word.flags, "an arrow is not denied")
        return row_of(one, "not_extensor", negated="yes")
    if role == "VALUE":
        assert word is not None
        clear(one.kind == "stretch" and not one.sign, "a sign has no strength")
        clear(
            word.meaning in ("brisk", "hyperactive", "diminished") and not word.flags,
            "only a strength is denied",
        )
        return row_of(one, word.meaning, negated="yes")
    clear(role == "", "a response is the toe's")
    clear(one.kind != "superficial" or one.own_noun, "a skin is no reflex")
    signs = one.sign or one.kind in ("clonus", "primitive")
    clear(signs or one.own_noun, "a joint is not denied")
    return row_of(one, "absent") | ({"negated": "yes"} if signs else {})


def untested(node: Node) -> tuple[str, Rows]:
    _link(node, None)
    return _untested(node, named_first=True)


def _untested(node: Node, named_first: bool) -> tuple[str, Rows]:
    found = things(node.all("targets")[0])
    said = node.words("UNTESTED")[0]
    link = node.first("link")
    parted = link is not None and written(link) == ","
    clear("after" not in said.flags or not parted, "behind a comma it may be of something else")
    because = node.first("because")
    clear(not any(one.implied or one.doubted for one in found), "a state that is named was tested")
    clear(not any("all" in one.flags for one in found), "`throughout` names nothing to test")
    clear(not said.text.startswith("not elicitable"), "a reflex may be absent or beyond reach")
    reason = said.meaning
    if because is not None:
        clear(not reason and "due to" not in said.text, "one reason is given")
        reason = _reason(because)
    value = f"not tested: {reason}" if reason else "not tested"
    return _in_context(node, found, not named_first), [row_of(one, value) for one in found]


def _reason(node: Node) -> str:
    reasons = node.words("REASON")
    words = [word.text for word in node.words("WORD")]
    clear(reasons and "cause" in reasons[0].flags, "a reason is led by a word for it")
    clear(all("cause" not in word.flags for word in reasons[1:]), "a reason is led by one word")
    clear(len(words) <= 4, "a reason is short")
    return reasons[1].meaning if len(reasons) > 1 else " ".join(words)


def untested_named(node: Node) -> tuple[str, Rows]:
    clear("after" not in node.words("UNTESTED")[0].flags, "before a name it may be of something else")
    return _untested(node, named_first=False)


def _runs(node: Node) -> tuple[str, Rows]:
    """As many values as names, with slashes between, for one side or each."""
    found, runs, sides = things(node.all("targets")[0]), node.words("RUN"), node.words("SIDE")
    _link(node, None)
    clear(all(one.one and not one.sign and one.kind == "stretch" for one in found), "reflexes have grades")
    clear(all(len(run.cell.split()) == len(found) for run in runs), "as many values as names")
    clear(len(runs) == len(sides) or (len(runs) == 1 and not sides), "each run has its side, or none has")
    clear(len({side.meaning for side in sides}) == len(sides), "a side is said once")
    clear(all(side.meaning in OPPOSITE for side in sides), "a side is said once")
    clear(all(one.side == "unspecified" for one in found), "a side is said once")
    clear(not any("root" in one.flags for one in found), "a root in a list may stand beside its reflex")
    rows = [
        row_of(one.on(sides[place].meaning) if sides else one, cell)
        for place, run in enumerate(runs)
        for one, cell in zip(found, run.cell.split(), strict=True)
    ]
    return _in_context(node, found), rows


def respectively(node: Node) -> tuple[str, Rows]:
    if node.words("RUN"):
        return _runs(node)
    clear(node.all("values"), "which grade of a row is whose is said only where it is as long as the list")
    values = values_in_order(node.all("values")[0])
    clear(node.words("RESPECTIVELY"), "without `respectively` the order is not said")
    _link(node, values[0])
    targets = node.all("targets")
    if not targets:
        about = thing(node.all("target")[0])
        side = node.words("SIDE")[0]
        clear(about.side == "unspecified" and len(values) == 2 and about.one, "two sides take two values")
        clear(
            side.text in ("right and left", "left and right", "rt and lt", "lt and rt"),
            "the order of sides is said",
        )
        order = ("right", "left") if side.text.startswith("r") else ("left", "right")
        found = [about.on(side) for side in order]
    else:
        found = things(targets[0])
        clear(len(found) == len(values), "as many values as names")
        clear(all(one.one for one in found), "a list in order names reflexes")
    rows = [row for one, value in zip(found, values, strict=True) for row in rows_for(one, value)]
    return _in_context(node, found, value_before=node.parts[0] is node.first("values")), rows


def values_in_order(node: Node) -> list[Value]:
    """The meaning of `values`."""
    values = [Value(part.parts[0]) for part in node.all("value")]  # type: ignore[arg-type]
    clear(
        len({value.role for value in values}) == 1 and values[0].role in ("GRADE", "VALUE"),
        "values are said alike",
    )
    clear(all(not value.said.flags for value in values), "`symmetric` is said of both sides, not of one name")
    clear(all(not value.said.text.isdigit() for value in values), "lone digits in a row may be a sequence")
    clear(all("-" not in value.said.cell for value in values), "a range in a row may end at its neighbour")
    return values


def sign_named(node: Node) -> tuple[str, Rows]:
    found = things(node.all("targets")[0])
    clear(len(found) == 1, "a list of signs without a word may be a heading")
    one = found[0]
    clear(one.sign or one.implied, "a reflex without a value is not a finding")
    clear(one.kind != "primitive" or one.which != "unspecified", "`primitive reflexes` alone is a heading")
    side, places = node.words("SIDE"), node.first("places")
    if side:
        clear(
            one.side == "unspecified" and side[0].meaning in ("left", "right", "both"), "a side is said once"
        )
        clear("letter" not in side[0].flags and not places, "a letter for a side stands right beside")
        one = one.on(side[0].meaning)
    cell = (one.name or "extensor") if one.kind == "plantar" else "present"
    if places is None:
        return _signed(node, one, [row_of(one, one.implied or cell)])
    clear(bool(places.words("AT")), "a place without `at` may begin another statement")
    where = things(places.all("targets")[0])
    clear(one.implied and one.general, "only a state has places of its own")
    clear(one.side == "unspecified", "a side before the place may be the place's")
    clear(
        all(place.region or (place.one and place.kind == "stretch" and not place.sign) for place in where),
        "a place is a reflex or region",
    )
    clear(not any(place.own_noun or place.doubted for place in where), "a place is named without its noun")
    clear(not any("all" in place.flags for place in where), "`throughout` takes no `at`")
    return _signed(node, one, [row_of(place, one.implied) for place in where])


def _signed(node: Node, one: Thing, rows: Rows) -> tuple[str, Rows]:
    if one.doubted:
        clear(one.kind != "plantar", "a doubtful Babinski sign is an equivocal response")
        rows = [row | {"certainty": "uncertain"} for row in rows]
    return _in_context(node, [one]), rows


def value_alone(node: Node) -> tuple[str, Rows]:
    value = value_of(node.all("phrase")[0])
    clear(value.role in ("GRADE", "VALUE", "PAIR"), "a reflex has a strength")
    return f"Reflexes:\n{written(node)}", rows_for(Thing("unspecified", general=True), value)


_SHAPES: dict[str, Callable[[Node], tuple[str, Rows]]] = {
    shape.__name__: shape
    for shape in (
        *(named_value, value_named, denied, untested, untested_named, respectively, sign_named, value_alone),
    )
}
