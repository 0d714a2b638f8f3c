"""Reads resources from files, folders, globs and standard input, as a stream.

Takes JSON, NDJSON and XML, each also gzipped; gives each resource with its place, or a Diagnostic for what
could not be read. NDJSON of any length is read line by line.
"""

import gzip
import io
import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import IO, Any

from converter.check.library import Definitions
from converter.model import Diagnostic, Severity

Json = dict[str, Any]
Read = tuple[str, Json] | Diagnostic

_STANDARD_INPUT = "-"
_LINES = (".ndjson", ".jsonl")
_READABLE = (".json", ".xml", *_LINES)


def read_resources(
    inputs: Iterable[str | Path], definitions: Definitions | None = None, release: str = "R4"
) -> Iterator[Read]:
    """Read every resource of the inputs, in order; files of a folder by name.

    Args:
        inputs: files, folders, glob patterns, or `-` for standard input.
        definitions: names and order of elements, for XML; the base definitions where not given.
        release: FHIR release of XML resources.

    Yields:
        The place (`file`, or `file:line`) and the resource; or a Diagnostic with `source` and `line`.
        A fault that leaves a resource readable, such as a key written twice, comes before that resource.
    """
    reader = _Reader(definitions or Definitions(()), release)
    for one in inputs:
        if str(one) == _STANDARD_INPUT:
            yield from reader.stream(sys.stdin.buffer, "standard input")
            continue
        files = list(_files(str(one)))
        if not files:
            yield _problem("input-missing", str(one), "there is no file of FHIR resources here")
        for file in files:
            yield from reader.file(file)


def parsed_json(text: str) -> tuple[Any, list[str]]:
    """JSON with exact decimals, and the keys that stand twice in one object.

    Raises:
        ValueError: the text is not JSON.
    """
    doubles: list[str] = []

    def pairs(items: list[tuple[str, Any]]) -> Json:
        found = dict(items)
        if len(found) != len(items):
            names = [name for name, _ in items]
            doubles.extend(sorted({name for name in names if names.count(name) > 1}))
        return found

    def constant(name: str) -> Any:
        raise ValueError(f"{name} is not JSON")

    return json.loads(text, object_pairs_hook=pairs, parse_float=Decimal, parse_constant=constant), doubles


class _Reader:
    def __init__(self, definitions: Definitions, release: str):
        self._definitions = definitions
        self._release = release

    def file(self, file: Path) -> Iterator[Read]:
        try:
            with _opened(file) as handle:
                yield from self._content(handle, str(file), _suffix(file))
        except (OSError, EOFError) as error:
            yield _problem("input-unreadable", str(file), f"cannot be read: {error}")

    def stream(self, handle: IO[bytes], source: str) -> Iterator[Read]:
        """Read a stream whose format shows in its first line."""
        first = handle.readline()
        while first and not first.strip():
            first = handle.readline()
        if first.lstrip(b"\xef\xbb\xbf \t").startswith(b"<"):
            yield from self._xml(first + handle.read(), source)
        elif _is_whole(first):
            yield from self._lines(first, handle, source)
        else:
            yield from self._json(first + handle.read(), source, None)

    def _content(self, handle: IO[bytes], source: str, suffix: str) -> Iterator[Read]:
        if suffix in _LINES:
            yield from self._lines(b"", handle, source)
        elif suffix == ".xml":
            yield from self._xml(handle.read(), source)
        else:
            yield from self._json(handle.read(), source, None)

    def _lines(self, first: bytes, handle: Iterable[bytes], source: str) -> Iterator[Read]:
        number = 0
        if first:
            number = 1
            yield from self._json(first, source, number)
        for line in handle:
            number += 1
            if line.strip():
                yield from self._json(line, source, number)

    def _json(self, content: bytes, source: str, line: int | None) -> Iterator[Read]:
        try:
            resource, doubles = parsed_json(content.decode("utf-8-sig"))
        except RecursionError:
            yield _problem("not-json", source, "is nested too deeply to be a resource", line)
            return
        except UnicodeDecodeError:
            yield _problem("not-utf-8", source, "is not UTF-8 text, which FHIR requires", line)
            return
        except ValueError as error:
            at = getattr(error, "lineno", None) if line is None else line
            what = getattr(error, "msg", str(error))
            yield _problem("not-json", source, f"is not JSON: {what}" if content.strip() else "is empty", at)
            return
        place = source if line is None else f"{source}:{line}"
        for key in doubles:
            yield _problem("duplicate-key", source, f"the key {key!r} stands twice in one object", line)
        if isinstance(resource, dict):
            yield place, resource
        else:
            yield _problem("not-a-resource", source, "holds no JSON object", line)

    def _xml(self, content: bytes, source: str) -> Iterator[Read]:
        from converter.check.xml_input import resource_from_xml

        try:
            resource, problems = resource_from_xml(content, self._definitions.library(self._release))
        except ValueError as error:
            yield _problem("not-xml", source, str(error))
            return
        yield from (replace(one, source=source) for one in problems)
        yield source, resource


def _files(pattern: str) -> Iterator[Path]:
    path = Path(pattern)
    if path.is_dir():
        yield from sorted(file for file in path.rglob("*") if file.is_file() and _suffix(file) in _READABLE)
    elif path.exists():
        yield path
    elif any(mark in pattern for mark in "*?["):
        root = Path(path.anchor or ".")
        found = root.glob(str(path.relative_to(path.anchor) if path.anchor else path))
        yield from sorted(file for file in found if file.is_file())


def _opened(file: Path) -> IO[bytes]:
    if file.suffix == ".gz":
        return io.BufferedReader(gzip.open(file))
    return file.open("rb")


def _suffix(file: Path) -> str:
    return Path(file.stem).suffix.lower() if file.suffix == ".gz" else file.suffix.lower()


def _is_whole(line: bytes) -> bool:
    try:
        return isinstance(json.loads(line), dict)
    except ValueError:
        return False


def _problem(code: str, source: str, message: str, line: int | None = None) -> Diagnostic:
    place = source if line is None else f"{source}, line {line}"
    return Diagnostic(
        code=code, severity=Severity.ERROR, message=f"{place}: {message}.", source=source, line=line
    )
