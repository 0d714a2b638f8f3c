"""The columns that heads announce, and how those of one line belong together: by limb, by group, by time.

Takes columns; gives them arranged. What the words of heads say is read by `table_heads`.
"""

from dataclasses import dataclass, field, replace

from converter.reading.grammar.parts import Target, Used
from converter.reading.lines import Cell
from converter.reading.tokens import Token

SIDES = frozenset({"left", "right", "both"})


@dataclass(frozen=True, slots=True)
class Column:
    """A column: what its head says, and where it stands in the line.

    Attributes:
        offset: where the head begins, in characters of its line.
        end: where it ends.
        side: left, right, both, or None.
        targets: the reflexes that the head names.
        general: the head speaks of reflexes without naming one.
        noun: the word by which it does.
        foreign: the head names another part of the examination, or says nothing that is known.
        unknown: it says nothing that is known.
        alike: it asks whether the sides are alike: "Symmetric".
        time: the time of an examination that the head names.
        standing: `earlier` where another column is later, `clock` for one of several times of a day.
        used: the words of the head that its findings rest on.
    """

    offset: int
    end: int = 0
    side: str | None = None
    targets: list[Target] = field(default_factory=list)
    general: bool = False
    noun: Token | None = None
    foreign: bool = False
    unknown: bool = False
    alike: bool = False
    time: Token | None = None
    standing: str = ""
    used: Used = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Heads:
    """The columns of a table.

    Attributes:
        labels: how many columns, from the left, name the rows; 0 where their head is left out.
        values: the columns that follow, foreign ones among them.
        parting: the mark between the cells, empty where gaps or pipes part them.
        side: the side that the first head gives to the whole table, with its token.
        open: the heads say nothing of sides, so the rows must.
        about: the reflexes that the first head names, for rows that only say when or on which side.
        what: the heads say what was examined, so the rows say where or when.
        lines: how many lines the heads take.
    """

    labels: int
    values: list[Column]
    parting: str = ""
    side: tuple[Token, str] | None = None
    open: bool = False
    about: list[Target] = field(default_factory=list)
    what: bool = False
    lines: int = 1

    @property
    def only_order(self) -> bool:
        """Whether the heads say nothing but the order of the sides: "(L/R)"."""
        return len(self.values) == 1 and self.values[0].side == "both" and not self.values[0].targets


def sides_differ(columns: list[Column]) -> bool:
    """Whether the columns are right and left, or one for both."""
    sides = sorted(column.side or "" for column in columns)
    return sides in (["left", "right"], ["both"])


def sides_told(groups: list[list[Column]]) -> bool:
    """Whether the columns of each time tell their sides; at one time a side may have been left out."""
    sides = [[column.side or "" for column in group] for group in groups]
    told = all(set(each) <= SIDES and len(set(each)) == len(each) for each in sides)
    return told and any(sides_differ(group) for group in groups)


def by_moment(text: str, columns: list[Column]) -> list[list[Column]]:
    """The columns of each time."""
    groups: dict[str, list[Column]] = {}
    for column in columns:
        if column.time is not None:
            groups.setdefault(text[column.time.start : column.time.end], []).append(column)
    return list(groups.values())


def with_limbs(columns: list[Column], cells: list[Cell]) -> list[Column]:
    """As in "RUE  LUE  RLE  LLE", "UL  LL": limbs that the values are about, and no mere sides."""
    regions = {i: c.tokens[0] for i, c in enumerate(cells) if [t.kind for t in c.tokens] == ["region"]}
    several = len({token.meaning.partition(":")[0] for token in regions.values()}) > 1
    if not (len(regions) > 2 or several) or len(cells) != len(columns):
        return columns
    limbs = list(columns)
    for place, token in regions.items():
        site, _, side = token.meaning.partition(":")
        about = Target(site, side=side or None, region=True, flags=token.flags, used=[(token, "region")])
        limbs[place] = Column(columns[place].offset, columns[place].end, targets=[about])
    return limbs


def grouped(columns: list[Column]) -> list[Column]:
    """As in "Power  R  L  DTR  R  L": a head in the same line that says of what the sides after it are."""
    sided = [column for column in columns if column.side and not column.targets]
    if len(sided) <= 2 or any(column.foreign for column in sided):
        return columns
    grouped: list[Column] = []
    group: Column | None = None
    for place, column in enumerate(columns):
        if column in sided:
            grouped.append(replace(column, foreign=group is not None and group.foreign))
            continue
        group = column
        if place == 0:
            grouped.append(column)
    return grouped


def group_over(groups: list[Column], column: Column) -> Column:
    """The group that stands over a column: the last that begins left of it."""
    before = [group for group in groups if group.offset <= column.offset + 2]
    return before[-1] if before else groups[0]
