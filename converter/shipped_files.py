"""Finds the files that travel with the program: profiles and demo notes.

In a checkout they stand at the top level; in an installed wheel inside the package.
"""

from pathlib import Path

_PACKAGE = Path(__file__).parent


def profiles_folder() -> Path:
    """The folder of the shipped profiles."""
    return _shipped("profiles", _PACKAGE.parent / "profiles")


def demo_folder() -> Path:
    """The folder of the shipped, invented demo notes."""
    return _shipped("demo", _PACKAGE.parent / "fixtures" / "demo")


def _shipped(name: str, in_checkout: Path) -> Path:
    return in_checkout if (_PACKAGE.parent / "pyproject.toml").is_file() else _PACKAGE / "shipped" / name
