"""What a derived sentence names: reflexes and regions with their sides, by the labelling rules of the cases.

Takes the shapes `target` and `targets`; gives Things. Independent of the reader: it looks at the derivation,
which tells what belongs to what, and at the rows of the words. Raises UnclearError where careful people
would differ.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from derivations import Node
from grammar_words import Said

from converter.words import shipped_vocabulary

REFLEXES = shipped_vocabulary().reflexes
OPPOSITE = {"left": "right", "right": "left"}
ROOT_OF = {"biceps": "C5", "brachioradialis": "C6", "triceps": "C7", "patellar": "L4", "achilles": "S1"}
"""The root that is written in brackets behind a tendon: facts of the trade, from memory."""


class UnclearError(Exception):
    """The sentence has no one meaning, or none that a note would have; the message says why."""


def clear(holds: object, reason: str) -> None:
    """Go on only where something holds.

    Raises:
        UnclearError: it does not.
    """
    if not holds:
        raise UnclearError(reason)


@dataclass(frozen=True, slots=True)
class Thing:
    """What a value is about."""

    site: str
    which: str = ""
    root: str = ""
    side: str = "unspecified"
    side_leads: bool = False
    name: str = ""
    implied: str = ""
    doubted: bool = False
    general: bool = False
    region: bool = False
    flags: frozenset[str] = field(default_factory=frozenset)
    own_noun: bool = False
    own_side: bool = False

    @property
    def kind(self) -> str:
        return REFLEXES[self.site].kind

    @property
    def sign(self) -> bool:
        return "sign" in self.flags

    @property
    def one(self) -> bool:
        """One reflex, named."""
        return not (self.general or self.region)

    def on(self, side: str) -> "Thing":
        return replace(self, side=side)


def thing(node: Node) -> Thing:
    """The meaning of a `target`."""
    at = next(i for i, part in enumerate(node.parts) if isinstance(part, Node))
    before = [part for part in node.parts[:at] if isinstance(part, Said)]
    after = [part for part in node.parts[at + 1 :] if isinstance(part, Said)]
    clear(len(before) <= 1, "two words before a name: one side or one doubt is said")
    found = _head(node.parts[at])  # type: ignore[arg-type]
    if before and before[0].role == "SIDE":
        clear(found.side == "unspecified", "a name that has its side takes no other")
        found = replace(found, side=_side(before[0]), side_leads=True)
    elif before:
        found = replace(found, doubted=True)
    return _with_side_after(found, after)


def _side(said: Said) -> str:
    clear(said.meaning in ("left", "right", "both"), "the same or other side needs a side said before")
    return said.meaning


def _with_side_after(found: Thing, after: Sequence[Said]) -> Thing:
    if not after:
        return found
    clear(found.side == "unspecified", "a side is said once")
    clear(not found.general, "a side after the noun alone may lead what follows")
    sides = [said for said in after if said.role == "SIDE"]
    regions = [said for said in after if said.role == "REGION"]
    if regions:
        site, _, own = regions[0].meaning.partition(":")
        clear(found.one and "limb" in regions[0].flags, "only a limb gives its side to a reflex")
        clear(not regions[0].flags & {"part", "partial", "bare"}, "a part of a limb may be what was struck")
        clear(REFLEXES[found.site].limb == REFLEXES[site].limb, "a reflex lies in its own limb")
        clear(sides or own, "a limb without a side says nothing new")
        clear(not (sides and own), "a side is said once")
        return found.on(_side(sides[0]) if sides else own)
    letter = "letter" in sides[0].flags
    clear(not letter or after[0].role != "AT", "a letter for a side stands right beside the name")
    return found.on(_side(sides[0]))


def _head(node: Node) -> Thing:
    first = node.parts[0]
    assert isinstance(first, Said)
    rest = [part for part in node.parts[1:] if isinstance(part, Said)]
    clear(
        first.role not in ("OTHER_EXAM", "LOOK_ALIKE"), "another part of the examination has no reflex value"
    )
    clear(first.role != "ANAPHOR", "`it` and `they` need a sentence before")
    if first.role == "SITE":
        return _site(first, rest)
    if first.role == "REGION":
        return _region(first, rest)
    if first.role == "CONDITION":
        return Thing("unspecified", implied=first.meaning, general=True, flags=first.flags, own_noun=True)
    clear(not rest, "the noun is said once")
    clear("jerk" not in first.flags, "`jerk` alone is also a movement")
    return Thing("unspecified", general=True, flags=first.flags, own_noun=True)


def _site(said: Said, rest: Sequence[Said]) -> Thing:
    site, _, more = said.meaning.partition(":")
    more, _, side = more.partition(":")
    root = more.removeprefix("root=") if more.startswith("root=") else ""
    which = "" if root or more == "flexor_named" else more
    nouns = [part for part in rest if part.role == "REFLEX"]
    roots = [part for part in rest if part.role == "SITE"]
    clear(not (nouns and "trigger" in said.flags), "the noun is said once")
    clear(
        len(nouns) <= 1 and all(n.meaning == "" and n.text in _NOUNS for n in nouns), "one plain noun follows"
    )
    clear(not (nouns and said.flags & {"short", "plantars", "toes"}), "an abbreviation takes no noun")
    if roots:
        clear("root" in roots[0].flags and "trigger" not in roots[0].flags, "only a root stands in brackets")
        clear(not root and roots[0].text == ROOT_OF.get(site), "a tendon has its own root in brackets")
        clear(not said.flags & {"place", "short"}, "a root stands behind the name of a tendon")
        root = roots[0].text
    flags = said.flags
    clear(not flags & {"infant"} or nouns, "sucking and grasping are also what infants just do")
    clear("toes" not in flags or not nouns, "a toe has no reflex of its own name")
    clear(
        site != "finger_flexor" or not nouns,
        "the flexors of the fingers may be there, their reflex is tested",
    )
    name = "flexor" if more == "flexor_named" else ""
    noun = "trigger" in flags or bool(nouns)
    own = bool(side) and "short" in flags
    side = side or "unspecified"
    return Thing(site, which, root, side, name=name, flags=flags, own_noun=noun, own_side=own)


_NOUNS = frozenset({"reflex", "reflexes", "dtrs", "dtr"})
"""`jerk` is left to the names that the lists give it: "abdominal jerk" and "leg jerks" are none."""


def _region(said: Said, rest: Sequence[Said]) -> Thing:
    clear(not said.flags & {"part", "partial", "bare"}, "a part of a limb is no region of reflexes")
    site, _, side = said.meaning.partition(":")
    clear(not (rest and rest[0].role == "REFLEX" and rest[0].text not in _NOUNS), "one plain noun follows")
    conditions = [part for part in rest if part.role == "CONDITION"]
    clear(
        not conditions or "adjective" in said.flags,
        "a state follows the place only as `generalised areflexia`",
    )
    clear("adjective" not in said.flags or rest, "`generalised` needs its noun")
    return Thing(
        site,
        side=side or "unspecified",
        region=True,
        implied=conditions[0].meaning if conditions else "",
        flags=said.flags,
        own_noun=bool(rest),
    )


def things(node: Node) -> list[Thing]:
    """The meaning of `targets`, with the side of each member settled."""
    found = [thing(part) for part in node.all("target")]
    clear(not node.words("AT"), "`at` inside a list may begin another statement")
    if len(found) == 1:
        return found
    clear(len({one.kind for one in found}) == 1, "a list holds one kind of reflex")
    clear(len({one.sign for one in found}) == 1, "a list holds signs or reflexes")
    clear(
        all(one.one for one in found) or all(one.region for one in found),
        "a region beside a reflex may be its place",
    )
    clear(
        len({(one.site, one.which, one.root) for one in found}) == len(found), "a list names each reflex once"
    )
    clear(not any("all" in one.flags for one in found), "`throughout` leaves nothing else to name")
    clear(not any(one.implied or one.doubted for one in found), "doubt in a list may reach its other members")
    clear(len({one.site for one in found}) == len(found), "two names of one site may be one reflex")
    slashed = any(isinstance(part, Said) and part.text == "/" for part in node.parts)
    clear(
        not slashed or all(one.side == "unspecified" for one in found), "a slash behind a side joins nothing"
    )
    return _sides_settled(found)


def _sides_settled(found: list[Thing]) -> list[Thing]:
    sided = [one.side != "unspecified" for one in found]
    clear(all(sided) or not any(one.own_side for one in found), "a letter glued to a name is its own side")
    if not any(sided) or all(sided):
        return found
    if sided == [True] + [False] * (len(found) - 1) and found[0].side_leads:
        return [one.on(found[0].side) for one in found]
    if sided == [False] * (len(found) - 1) + [True] and not found[-1].side_leads and found[-1].one:
        return [one.on(found[-1].side) for one in found]
    raise UnclearError("a side inside a list may serve one member or the rest")
