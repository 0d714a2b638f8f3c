"""Lets a package name what its modules offer, and import each module only when one of its names is used.

A command that needs one function of a package then starts without the rest of it.
"""

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import Any


def names_of(package: str, modules: Mapping[str, Sequence[str]]) -> Callable[[str], Any]:
    """The `__getattr__` of a package.

    Args:
        package: its name.
        modules: what each of its modules offers.
    """
    homes = {name: module for module, names in modules.items() for name in names}

    def find(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f"{package}.{homes[name]}"), name)

    return find
