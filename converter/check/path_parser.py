"""Reads a FHIRPath expression into a tree.

Takes the text; gives nested tuples, of which the first item names the kind:
`("member", target, name)`, `("call", target, name, arguments)`, `("binary", operator, left, right)`,
`("literal", value)`, `("variable", name)`, `("this",)`, `("index", target, index)`, `("empty",)`,
`("type", operator, target, name)`, `("minus", target)`. A target of None is the focus.
Source of grammar and precedence: FHIRPath 2.0, http://hl7.org/fhirpath/N1/#grammar.
"""

import re
from decimal import Decimal
from typing import Any

from converter.check.units import UCUM, Amount

Tree = tuple[Any, ...]


class UnreadableExpressionError(ValueError):
    """An expression that is not well formed, or a part of the language that is not read here."""


class UnsupportedExpressionError(UnreadableExpressionError):
    """A well-formed part of the language that is not read here."""


_TOKEN = re.compile(
    r"""
    (?P<space>\s+|//[^\n]*|/\*.*?\*/)
    |(?P<date>@[0-9T:.+\-Z]+)
    |(?P<number>\d+(?:\.\d+)?)
    |(?P<string>'(?:\\.|[^'\\])*'|"(?:\\.|[^"\\])*")
    |(?P<name>[A-Za-z_][A-Za-z0-9_]*)
    |(?P<quoted>`(?:\\.|[^`\\])*`)
    |(?P<variable>%(?:[A-Za-z_][A-Za-z0-9_\-]*|`[^`]*`|'[^']*'))
    |(?P<this>\$[a-z]+)
    |(?P<operator><=|>=|!=|!~|[-+*/&|=~<>.,()\[\]{}])
    """,
    re.VERBOSE | re.DOTALL,
)
_ESCAPES = {"n": "\n", "t": "\t", "r": "\r", "f": "\f"}

_LEVELS: tuple[frozenset[str], ...] = tuple(
    frozenset(level.split())
    for level in (
        "implies",
        "or xor",
        "and",
        "in contains",
        "= ~ != !~",
        "< <= > >=",
        "|",
        "is as",
        "+ - &",
        "* / div mod",
    )
)
_IS_AS = next(n for n, level in enumerate(_LEVELS) if "is" in level)


FUNCTIONS_OF_THE_STANDARD = frozenset(
    name
    for line in (
        "empty exists all allTrue anyTrue allFalse anyFalse subsetOf supersetOf count distinct",
        "isDistinct where select repeat repeatAll ofType single first last tail skip take intersect",
        "exclude union combine iif coalesce toBoolean convertsToBoolean toInteger convertsToInteger",
        "toLong convertsToLong toDate convertsToDate toDateTime convertsToDateTime toDecimal",
        "convertsToDecimal toQuantity convertsToQuantity toString convertsToString toTime convertsToTime",
        "indexOf lastIndexOf substring startsWith endsWith contains upper lower replace matches",
        "matchesFull replaceMatches length toChars encode decode escape unescape trim split join abs",
        "ceiling exp floor ln log power round sqrt truncate children descendants trace now timeOfDay",
        "today is as not aggregate sum min max avg type extension hasValue getValue resolve",
        "elementDefinition slice checkModifiers conformsTo memberOf subsumes subsumedBy htmlChecks",
        "comparable lowBoundary highBoundary precision defineVariable sort yearOf monthOf dayOf hourOf",
        "minuteOf secondOf millisecondOf timezoneOffsetOf dateOf timeOf difference duration",
    )
    for name in line.split()
)
"""Functions of FHIRPath, and those FHIR adds (https://hl7.org/fhir/R4/fhirpath.html); from memory."""


def unknown_functions(tree: object) -> set[str]:
    """Names of functions in an expression that no standard defines."""
    found: set[str] = set()
    if isinstance(tree, tuple) and tree and tree[0] == "call" and tree[2] not in FUNCTIONS_OF_THE_STANDARD:
        found.add(str(tree[2]))
    for part in tree if isinstance(tree, tuple | list) else ():
        found |= unknown_functions(part)
    return found


def parsed(expression: str) -> Tree:
    """The tree of an expression.

    Raises:
        UnreadableExpressionError: it is not well formed, or uses what is not read here.
    """
    parser = _Parser(_tokens(expression))
    tree = parser.expression(0)
    if parser.kind != "end":
        raise UnreadableExpressionError(f"unexpected {parser.text!r}")
    return tree


def _tokens(expression: str) -> list[tuple[str, str]]:
    tokens, place = [], 0
    while place < len(expression):
        match = _TOKEN.match(expression, place)
        if not match:
            raise UnreadableExpressionError(f"cannot read {expression[place : place + 10]!r}")
        if match.lastgroup != "space":
            tokens.append((match.lastgroup or "", match.group()))
        place = match.end()
    return [*tokens, ("end", "")]


class _Parser:
    def __init__(self, tokens: list[tuple[str, str]]):
        self._tokens = tokens
        self._next = 0

    @property
    def kind(self) -> str:
        return self._tokens[self._next][0]

    @property
    def text(self) -> str:
        return self._tokens[self._next][1]

    def expression(self, level: int) -> Tree:
        if level == len(_LEVELS):
            return self._unary()
        left = self.expression(level + 1)
        while self.kind in ("operator", "name") and self.text in _LEVELS[level]:
            operator = self._take()
            if level == _IS_AS:
                left = ("type", operator, left, self._type_name())
            else:
                left = ("binary", operator, left, self.expression(level + 1))
        return left

    def _unary(self) -> Tree:
        if self.kind == "operator" and self.text in "+-":
            sign = self._take()
            target = self._unary()
            return target if sign == "+" else ("minus", target)
        return self._postfix()

    def _postfix(self) -> Tree:
        tree = self._term()
        while self.kind == "operator" and self.text in (".", "["):
            if self._take() == "[":
                tree = ("index", tree, self.expression(0))
                self._expect("]")
            else:
                tree = self._invocation(tree)
        return tree

    def _term(self) -> Tree:
        kind, text = self.kind, self.text
        if kind == "string":
            self._take()
            return ("literal", _unescaped(text[1:-1]))
        if kind == "number":
            self._take()
            if self.kind == "string":
                unit = _unescaped(self._take()[1:-1])
                return ("literal", Amount(value=Decimal(text), system=UCUM, code=unit))
            if self.text in ("year", "years", "month", "months", "day", "days"):
                raise UnsupportedExpressionError("spans of the calendar are not read here")
            return ("literal", Decimal(text) if "." in text else int(text))
        if kind == "date":
            self._take()
            return ("literal", text[1:].removeprefix("T") if text.startswith("@T") else text[1:])
        if kind == "variable":
            self._take()
            return ("variable", text[1:].strip("`'"))
        if kind == "this":
            if self._take() != "$this":
                raise UnsupportedExpressionError(f"{text} is not read here")
            return ("this",)
        if kind == "operator" and text == "(":
            self._take()
            tree = self.expression(0)
            self._expect(")")
            return tree
        if kind == "operator" and text == "{":
            self._take()
            self._expect("}")
            return ("empty",)
        return self._invocation(None)

    def _invocation(self, target: Tree | None) -> Tree:
        kind, text = self.kind, self.text
        if kind not in ("name", "quoted"):
            raise UnreadableExpressionError(f"a name is missing before {text!r}")
        self._take()
        name = _unescaped(text[1:-1]) if kind == "quoted" else text
        if self.kind == "operator" and self.text == "(":
            self._take()
            return ("call", target, name, self._arguments(name))
        if target is None and kind == "name" and name in ("true", "false"):
            return ("literal", name == "true")
        return ("member", target, name)

    def _arguments(self, name: str) -> list[Any]:
        arguments: list[Any] = []
        if name in ("is", "as", "ofType"):
            arguments.append(self._type_name())
        elif not (self.kind == "operator" and self.text == ")"):
            arguments.append(self.expression(0))
            while self.kind == "operator" and self.text == ",":
                self._take()
                arguments.append(self.expression(0))
        self._expect(")")
        return arguments

    def _type_name(self) -> str:
        name = self._take().strip("`")
        while self.kind == "operator" and self.text == ".":
            self._take()
            name = f"{name}.{self._take().strip('`')}"
        return name.removeprefix("FHIR.")

    def _take(self) -> str:
        text = self.text
        if self.kind == "end":
            raise UnreadableExpressionError("the expression ends too soon")
        self._next += 1
        return text

    def _expect(self, text: str) -> None:
        if self.text != text:
            raise UnreadableExpressionError(f"{text!r} is missing before {self.text!r}")
        self._take()


def _unescaped(text: str) -> str:
    if "\\" not in text:
        return text

    def one(match: re.Match[str]) -> str:
        body = match.group(1)
        return chr(int(body[1:], 16)) if body.startswith("u") else _ESCAPES.get(body, body)

    return re.sub(r"\\(u[0-9a-fA-F]{4}|.)", one, text, flags=re.DOTALL)
