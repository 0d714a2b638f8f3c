"""Runs a command so that it ends with a sentence and an exit status, never with a traceback."""

import os
import sys
from collections.abc import Callable
from functools import wraps
from typing import NoReturn, ParamSpec

import typer

from converter.collector import seldom_collect

P = ParamSpec("P")

CLEAN, INPUT_ERRORS, COULD_NOT_RUN = 0, 1, 2
_FAULT = "plexor itself has a fault here ({}); set PLEXOR_TRACEBACK=1 to see where, and please report it"
_STOPPED = 130  # what a shell gives a program that was stopped from the keyboard


class CannotRunError(Exception):
    """The command cannot do what was asked; the message is one sentence."""


def guarded(command: Callable[P, int]) -> Callable[P, None]:
    """A command whose status is returned, made into one that ends the program with it.

    A reader that closes the pipe early (`| head`) ends the command quietly. A fault of the program itself is
    said in one line; with PLEXOR_TRACEBACK set its traceback is shown.
    """

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        _prepare_streams()
        seldom_collect()
        try:
            status = command(*args, **kwargs)
            sys.stdout.flush()
        except BrokenPipeError:
            _end_quietly()
        except KeyboardInterrupt:
            raise typer.Exit(_STOPPED) from None
        except (typer.Exit, typer.Abort, typer.BadParameter):
            raise
        except Exception as error:
            _refuse(error)
        raise typer.Exit(status)

    return run


def _refuse(error: Exception) -> NoReturn:
    from converter.archive import ArchiveError
    from converter.engines import EngineError
    from converter.settings import SettingsError
    from converter.words import VocabularyError

    if isinstance(error, SettingsError):
        sentences = error.sentences
    elif isinstance(error, CannotRunError | VocabularyError | ArchiveError | EngineError):
        sentences = (str(error),)
    elif isinstance(error, OSError):
        sentences = (f"{error.filename or 'output'}: {(error.strerror or str(error)).lower()}",)
    else:
        if os.environ.get("PLEXOR_TRACEBACK"):
            raise error
        sentences = (_FAULT.format(type(error).__name__),)
    for sentence in sentences:
        typer.echo(f"fatal {sentence}", err=True)
    raise typer.Exit(COULD_NOT_RUN) from None


def _prepare_streams() -> None:
    """Write UTF-8 into pipes and files whatever the locale; on a terminal never fail over a character."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None and not stream.isatty():
            reconfigure(encoding="utf-8", errors="backslashreplace", newline="\n")
        elif reconfigure is not None:
            reconfigure(errors="replace")


def _end_quietly() -> NoReturn:
    """Point standard output at nothing, so that flushing it at the end raises nothing."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
    raise typer.Exit(CLEAN) from None
