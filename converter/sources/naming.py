"""What notes are called whose source gives them no name."""

from pathlib import PurePath


def stem_of(name: str) -> str:
    """A file's name without folders and suffixes, to make spare identifiers from."""
    return PurePath(name).name.partition(".")[0] or "note"
