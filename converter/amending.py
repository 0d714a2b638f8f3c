"""What persons say of findings, into the archive and out again; beside `api`.

Takes an archive and a Session; gives numbers of amendments. Keeping them belongs to `archive`, and what is
abnormal in an amended reading to `assess`.
"""

from typing import TYPE_CHECKING

from converter.api import Session, assess
from converter.model import Amendment

if TYPE_CHECKING:
    from converter.archive import Archive
    from converter.archive.amending import Maker


def maker_of(session: Session) -> "Maker":
    """What makes the amended form of a reading, by the words and rules of a session."""
    from converter.archive import Maker

    return Maker(session.vocabulary, lambda note, reading: assess(note, reading, session))


def amend(archive: "Archive", amendment: Amendment, session: Session) -> int:
    """Keep an amendment in an open archive; every later search, export and reading sees it.

    Raises:
        AmendmentError: it does not fit the note as it stands in the archive.
        ArchiveError: the archive cannot be written.
    """
    from converter import archive as store

    return store.amend(archive, amendment, maker_of(session))


def undo(archive: "Archive", number: int, by: str, session: Session, at: str | None = None) -> None:
    """Take an amendment back; it stays on record as undone.

    Raises:
        AmendmentError: there is no such amendment, or it was undone before.
        ArchiveError: the archive cannot be written.
    """
    from converter import archive as store

    store.undo(archive, number, by, at or session.time or "", maker_of(session))
