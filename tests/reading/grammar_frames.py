"""What the shapes say that arrange, set aside or except: each stands in a frame of fixed words around it.

As `grammar_shapes`: a derivation in, the note and the rows of a case out; UnclearError where people
would differ.
"""

from collections.abc import Callable

from derivations import Node, written
from grammar_shapes import Rows, values_in_order
from grammar_shapes import note_and_rows as of_plain_shapes
from grammar_things import OPPOSITE, REFLEXES, Thing, UnclearError, clear, thing, things
from grammar_values import Value, row_of, rows_for, value_of
from grammar_words import Said

ALL = Thing("all_limbs", side="both", region=True)
NOUN = Thing("unspecified", general=True)
KNEE, ANKLE, BICEPS = Thing("patellar"), Thing("achilles"), Thing("biceps")


def note_and_rows(node: Node) -> tuple[str, Rows]:
    """The note that holds a derived shape, and what a careful reader takes from it."""
    return _FRAMES.get(node.name, of_plain_shapes)(node)


def makes_sense_in(rule: str) -> Callable[[Node], bool]:
    """A test for parts of a derived rule: whether they have a meaning there, as far as they show it alone."""
    alone = _ALONE | _ALONE_IN.get(rule, {})

    def makes_sense(node: Node) -> bool:
        try:
            if node.name in alone:
                alone[node.name](node)
        except UnclearError:
            return False
        return True

    return makes_sense


def _one_strength(node: Node) -> None:
    found = things(node)
    clear(len(found) == 1 and found[0].one and not found[0].sign, "one reflex is compared")
    clear(found[0].kind == "stretch" and not found[0].doubted, "a strength is compared")


def _plain_strength(node: Node) -> None:
    value = value_of(node)
    clear(value.role == "GRADE" or value.said.meaning in ("brisk", "hyperactive"), "a strength is compared")
    clear(value == Value(value.said) and not value.said.flags, "a strength is compared")


def _named_strength(node: Node) -> None:
    found = thing(node)
    clear(found.one and found.kind == "stretch" and not found.sign, "a strength is compared")


def _listed_value(node: Node) -> None:
    said = node.parts[0]
    assert isinstance(said, Said)
    clear(said.role in ("GRADE", "VALUE") and not said.flags, "values are said alike")
    clear(not said.text.isdigit() and "-" not in said.cell, "a range in a row may end at its neighbour")


def _several(node: Node) -> None:
    clear(len(things(node)) > 1 and all(one.one for one in things(node)), "a list in order names reflexes")


def _plain_legend(node: Node) -> None:
    if not node.words("LEGEND"):
        return
    clear(not node.words("LEGEND")[0].meaning and len(node.parts) > 2, "a legend explains something")


_ALONE: dict[str, Callable[[Node], object]] = {
    "target": thing,
    "targets": things,
    "phrase": value_of,
    "values": values_in_order,
    "legend": _plain_legend,
}
_ALONE_IN: dict[str, dict[str, Callable[[Node], object]]] = {
    "side_against_side": {"target": _named_strength, "targets": _one_strength, "phrase": _plain_strength},
    "respectively": {"targets": _several, "value": _listed_value},
}


def legend(node: Node) -> tuple[str, Rows]:
    if not node.words("LEGEND"):
        return f"DTRs 2+ throughout ({written(node)}).", [row_of(ALL, "2+")]
    said = node.words("LEGEND")[0]
    clear(not said.meaning, "a named scale stands beside grades as well")
    clear(len(node.parts) > 2, "a legend explains something")
    return f"{written(node)}\n\nDTRs 2+ throughout.", [row_of(ALL, "2+")]


def pair_order(node: Node) -> tuple[str, Rows]:
    order = node.words("SIDE_REF")[0].meaning
    first, second = order.split("-")
    rows = [row_of(KNEE.on(first), "2+"), row_of(KNEE.on(second), "1+")]
    return f"DTRs {written(node)} knee jerk 2+/1+", rows


def planned(node: Node) -> tuple[str, Rows]:
    things(node.all("targets")[0])
    clear(len(node.words("AT", "WORD")) <= 2, "a plan comes to its point")
    return f"{written(node)}.", []


def lead_side(node: Node) -> tuple[str, Rows]:
    side = node.words("SIDE")[0]
    clear(side.meaning in OPPOSITE, "only one side leads a list")
    marks = [word.text for word in node.words("mark")]
    clear(
        "letter" not in side.flags or ":" in marks or "(" in marks, "a letter for a side stands right beside"
    )
    rest = "knee jerk 2+, ankle jerk 1+"
    rows = [row_of(KNEE.on(side.meaning), "2+"), row_of(ANKLE.on(side.meaning), "1+")]
    if "(" not in marks:
        return f"Reflexes are as follows.\n{written(node)} {rest}", rows
    other = OPPOSITE[side.meaning]
    rows += [row_of(KNEE.on(other), "3+"), row_of(ANKLE.on(other), "0")]
    return f"DTRs: {written(node)} {rest}, ({other}) knee jerk 3+, ankle jerk 0", rows


def lead_region(node: Node) -> tuple[str, Rows]:
    region, sides = node.words("REGION")[0], node.words("SIDE")
    clear(not region.flags & {"part", "partial", "bare", "all", "adjective"}, "a whole limb leads a sentence")
    site, _, own = region.meaning.partition(":")
    clear(not (own and sides), "a side is said once")
    clear(not sides or "letter" not in sides[0].flags, "a letter for a side stands right beside")
    clear(REFLEXES[site].limb or not sides, "all limbs are on both sides")
    side = sides[0].meaning if sides else own or "unspecified"
    clear(side in (*OPPOSITE, "both", "unspecified"), "the same or other side needs one before")
    about = Thing(site, side=side, region=True)
    clear(not any("jerk" in word.flags for word in node.words("REFLEX")), "a limb that jerks is no reflex")
    if node.words("REFLEX"):
        return f"{written(node)} 2+.", [row_of(about, "2+")]
    return f"{written(node)} reflexes were brisk.".replace("had reflexes were brisk", "had brisk reflexes"), [
        row_of(about, "brisk")
    ]


def exception(node: Node) -> tuple[str, Rows]:
    found = things(node.all("targets")[0])
    clear(not any(one.implied or one.doubted or one.general for one in found), "an exception is a place")
    clear(all(one.kind == "stretch" and not one.sign for one in found), "an exception is of the same kind")
    clear(not any("all" in one.flags or one.site == "all_limbs" for one in found), "an exception is a part")
    phrases = node.all("phrase")
    base = [row_of(ALL, "2+")]
    if not phrases:
        return _excepted(node), base + [row_of(one, "none", reason="excepted") for one in found]
    value = value_of(phrases[0])
    link = node.first("link")
    clear(link is None or link.parts[0].role == "IS", "a mark inside an exception may end it")  # type: ignore[union-attr]
    clear(value.role != "GRADE" or not value.said.text.isdigit(), "a lone digit may count something")
    clear(value.side == "unspecified" or link is not None, "a side is said once")
    clear("weak" not in value.said.flags, "an exception has a strength")
    clear(link is not None or not value.columns, "manner before a name may be the name's")
    return _excepted(node), base + [row for one in found for row in rows_for(one, value)]


def _excepted(node: Node) -> str:
    return f"Reflexes are 2+ throughout {written(node)}."


def otherwise(node: Node) -> tuple[str, Rows]:
    value = value_of(node.all("phrase")[0])
    clear(value.role in ("GRADE", "VALUE") and "weak" not in value.said.flags, "the rest has a strength")
    clear(not (value.role == "GRADE" and value.said.text.isdigit()), "a lone digit may count something")
    clear(
        "reflexes" not in node.words("OTHERWISE")[0].text or not node.words("REFLEX"), "the noun is said once"
    )
    nouns = node.words("REFLEX")
    clear(not nouns or nouns[0].text in ("reflexes", "dtrs"), "the rest is many reflexes")
    clear(not any(word.text == "," for word in node.words("mark")) or not nouns, "a comma may begin anew")
    about = [NOUN]
    if node.all("targets"):
        about = things(node.all("targets")[0])
        clear(bool(node.words("AT")), "a place without `at` may begin another statement")
        clear(value.side == "unspecified", "a side before the place may be the place's")
        clear(all(one.region and not one.own_noun for one in about), "the rest is a region")
        clear(not any("all" in one.flags for one in about), "`throughout` takes no `at`")
    base = [row_of(ANKLE.on("left"), "absent")]
    return f"Left ankle jerk absent, {written(node)}.", base + [
        r for one in about for r in rows_for(one, value)
    ]


def side_against_side(node: Node) -> tuple[str, Rows]:
    targets = node.all("targets")
    clear(len(targets) == 1, "a comparison names what it compares")
    found = things(targets[0])
    clear(len(found) == 1 and found[0].one and not found[0].sign, "one reflex is compared")
    about = found[0]
    clear(about.kind == "stretch" and not about.doubted, "a strength is compared")
    if node.first("weaker") is not None:
        return _than_the_other(node, about)
    if node.first("compare") is None:
        return _worded_comparison(node, about)
    sides = [word.meaning for word in node.words("SIDE")]
    clear(set(sides) == set(OPPOSITE) and about.side == "unspecified", "one side is compared with the other")
    mark = node.all("compare")[0].parts[0]
    assert isinstance(mark, Said)
    link = node.first("link")
    clear(link is None or link.parts[0].role != "mark" or link.parts[0].text in ":,", "marks beside marks")  # type: ignore[union-attr]
    greater = mark.text == ">" or mark.role == "MORE"
    relation = f"{'greater' if greater else 'less'}_than_other_side"
    phrase, value = node.first("phrase"), node.first("value")
    if mark.text == "=":
        clear(phrase is None, "equal sides take their value behind them")
        if value is None:
            return _compared(node), [row_of(about.on("both"), "symmetric", comparison="equal")]
        said = value.parts[0]
        assert isinstance(said, Said)
        clear(said.role == "GRADE" and not said.text.isdigit(), "equal sides take a grade")
        return _compared(node), [row_of(about.on("both"), said.cell)]
    clear(value is None, "a value behind unequal sides is neither's")
    rows = [row_of(about.on(sides[0]), "none", comparison=relation)]
    if phrase is not None:
        said_value = value_of(phrase)
        clear(
            said_value.role in ("GRADE", "VALUE") and "weak" not in said_value.said.flags,
            "unequal sides differ",
        )
        clear(not said_value.columns and said_value.side == "unspecified", "manner may be one side's")
        clear(
            not said_value.said.text.isdigit() and not said_value.negated, "a lone digit may count something"
        )
        rows = [row | {"comparison": ""} for row in rows_for(about, said_value)] + rows
    return _compared(node), rows


def _than_the_other(node: Node, about: Thing) -> tuple[str, Rows]:
    """As in "the left knee jerk is weaker than the right"."""
    other, link = node.words("SIDE")[-1], node.first("link")
    clear(
        about.side in OPPOSITE and other.meaning == OPPOSITE[about.side],
        "one side is compared with the other",
    )
    clear("letter" not in other.flags, "a letter for a side stands right beside")
    clear(link is not None and link.parts[0].role == "IS", "a mark before a comparison may begin another")  # type: ignore[union-attr]
    greater = bool(node.all("weaker")[0].words("MORE"))
    relation = f"{'greater' if greater else 'less'}_than_other_side"
    return _compared(node), [row_of(about, "none", comparison=relation)]


def _compared(node: Node) -> str:
    return f"Reflexes: {written(node)}."


def _worded_comparison(node: Node, about: Thing) -> tuple[str, Rows]:
    value = value_of(node.all("phrase")[0])
    clear(value == Value(value.said) and value.role == "VALUE", "a strength is compared")
    clear(
        value.said.meaning in ("brisk", "hyperactive", "diminished") and not value.said.flags,
        "a strength is compared",
    )
    clear(node.words("MORE") and about.side in OPPOSITE, "more is said of one side")
    sides = node.words("SIDE")
    clear(not node.all("target"), "what it is compared with needs no name again")
    clear(not node.words("THAN") or sides, "it is compared with something")
    clear(not sides or sides[0].meaning == OPPOSITE[about.side], "one side is compared with the other")
    clear(not sides or "letter" not in sides[0].flags, "a letter for a side stands right beside")
    row = row_of(about, value.said.meaning, comparison="greater_than_other_side")
    return _compared(node), [row]


def they_are(node: Node) -> tuple[str, Rows]:
    value = value_of(node.all("phrase")[0])
    clear(not node.all("side_value"), "two sides of two reflexes are four values")
    clear(not node.words("NOW"), "what is now was otherwise before")
    clear(value.role == "GRADE" and not value.columns, "a strength is said again")
    base = [row_of(one, "2+") for one in (KNEE, ANKLE)]
    rows = [row for one in (KNEE, ANKLE) for row in rows_for(one, value)]
    again = written(node)
    return f"Knee and ankle jerks are 2+. {again[0].upper()}{again[1:]}.", base + rows


def they_were(node: Node) -> tuple[str, Rows]:
    value, past = value_of(node.all("phrase")[0]), node.words("PAST")[0]
    clear(past.flags <= {"dated"}, "an event, a list or an end may be of something else")
    clear(value.role == "GRADE" and not value.columns and not value.negated, "a strength is said again")
    clear(not value.said.text.isdigit(), "a lone digit may count something")
    clear(value.side == "unspecified" and value.other is None, "a side may be said of what follows")
    rows = [row | {"status": "historical"} for row in rows_for(KNEE, value)]
    again = written(node)
    return f"Knee jerks 3+. {again[0].upper()}{again[1:]}.", [row_of(KNEE, "3+", status="current"), *rows]


def on_a_side(node: Node) -> tuple[str, Rows]:
    side, value = node.words("SIDE")[0], value_of(node.all("phrase")[0])
    clear(side.meaning in OPPOSITE, "a side leads its value")
    clear(not node.all("side_value"), "another side stands on its own line")
    clear(value.role == "GRADE" and not value.columns and value.side == "unspecified", "a strength is said")
    clear(bool(node.words("mark")) or not value.said.text.isdigit(), "a lone digit may count something")
    return f"Biceps reflex\n{written(node)}", rows_for(BICEPS.on(side.meaning), value)


def untested_on_a_side(node: Node) -> tuple[str, Rows]:
    side = node.words("SIDE")[0]
    clear(side.meaning in OPPOSITE, "one side was not tested")
    said_between = node.first("link")
    clear(said_between is None or written(said_between) != ",", "a comma may end what was said of the side")
    other = KNEE.on(OPPOSITE[side.meaning])
    base, row = row_of(other, "2+"), row_of(KNEE.on(side.meaning), "not tested", status="not_tested")
    return f"{OPPOSITE[side.meaning]} knee jerk 2+, {written(node)}.", [base, row]


def sides_in_order(node: Node) -> tuple[str, Rows]:
    clear(not node.all("targets"), "the names are given")
    sides, lists = node.words("SIDE"), [values_in_order(one) for one in node.all("values")]
    clear(len({side.meaning for side in sides} & set(OPPOSITE)) == len(sides), "each side is said once")
    clear(all(len(values) == 2 for values in lists), "as many values as names")
    rows = [
        row
        for side, values in zip(sides, lists, strict=True)
        for one, value in zip((KNEE, ANKLE), values, strict=True)
        for row in rows_for(one.on(side.meaning), value)
    ]
    return f"Knee and ankle jerks: {written(node)}.", rows


_FRAMES: dict[str, Callable[[Node], tuple[str, Rows]]] = {
    frame.__name__: frame
    for frame in (
        *(legend, pair_order, planned, lead_side, lead_region, exception, otherwise, side_against_side),
        *(they_are, they_were, on_a_side, untested_on_a_side, sides_in_order),
    )
}
