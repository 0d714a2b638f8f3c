"""Which elements of its value an invariant reads, so that its answer can be remembered by those alone.

Takes the tree of an expression; gives the names of the elements it reads directly from its context, or None
where it may read anything.
"""

from converter.check.path_functions import LAMBDAS
from converter.check.path_parser import Tree

_WHOLE = frozenset({"children", "descendants", "resolve", "repeat", "conformsTo"})
_ITSELF = frozenset({"resource", "context"})


class _UnboundedError(Exception):
    """The expression may read anything."""


def footprint(tree: Tree) -> frozenset[str] | None:
    """The names that an expression reads from its context, `%resource` counting as the context."""
    names: set[str] = set()
    try:
        _read(tree, names, top=True)
    except _UnboundedError:
        return None
    return frozenset(names)


def _read(tree: Tree, names: set[str], top: bool) -> None:
    """Collect what a part of the tree reads; `top` while its focus is the context itself."""
    match tree:
        case ("literal", _) | ("empty",):
            return
        case ("member", target, name):
            if _is_context(target, top):
                _add(name, names)
            elif target is not None:
                _read(target, names, top)
        case ("call", target, name, arguments):
            _read_call(target, name, arguments, names, top)
        case ("type", _, target, _):
            _read(target, names, top)
        case ("binary", _, left, right) | ("index", left, right):
            _read(left, names, top)
            _read(right, names, top)
        case ("minus", target):
            _read(target, names, top)
        case ("this",) if not top:
            return
        case ("variable", name) if name not in ("resource", "rootResource", "context"):
            return
        case _:
            raise _UnboundedError


def _read_call(target: Tree | None, name: str, arguments: list[Tree], names: set[str], top: bool) -> None:
    on_context = _is_context(target, top)
    if name in _WHOLE and (on_context or name in ("resolve", "conformsTo")):
        raise _UnboundedError
    if on_context and name not in LAMBDAS:
        raise _UnboundedError
    if target is not None and not on_context:
        _read(target, names, top)
    if name in ("is", "as", "ofType"):
        return
    inside = on_context if name in LAMBDAS else top
    for argument in arguments:
        _read(argument, names, inside)


def _is_context(target: Tree | None, top: bool) -> bool:
    if target is None:
        return top
    match target:
        case ("this",):
            return top
        case ("variable", name):
            return name in _ITSELF
        case ("member", None, name):
            return top and name[:1].isupper()
    return False


def _add(name: str, names: set[str]) -> None:
    if not name[:1].isupper():
        names.add(name)
