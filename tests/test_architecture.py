"""The shape of the code: who may import whom, how long things get, and that public names are explained."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from importlib import metadata
from pathlib import Path

import pytest

from converter.version import __version__

ROOT = Path(__file__).parent.parent
CONVERTER = ROOT / "converter"
MODULES = sorted(CONVERTER.rglob("*.py"))
STAGES = frozenset(
    path.name for path in CONVERTER.iterdir() if path.is_dir() and (path / "__init__.py").is_file()
) - {"cli", "words", "model", "review_page"}
BELOW = {
    "model": frozenset({"lazily"}),
    "words": frozenset({"model"}),
    "shipped_files": frozenset[str](),
    "lazily": frozenset[str](),
    "version": frozenset[str](),
    "collector": frozenset[str](),
    "settings": STAGES | {"words", "model", "shipped_files", "settings_file"},
    "settings_file": STAGES | {"words", "model", "shipped_files", "settings"},
    "api": STAGES | {"words", "model", "shipped_files", "settings", "version"},
    "amending": STAGES | {"words", "model", "settings", "api", "judging"},
    "forgetting": STAGES | {"words", "model", "settings", "api"},
    "relinking": frozenset({"archive", "model"}),
    "evidence": frozenset({"reading", "words", "model"}),
    "suggesting": STAGES | {"words", "model", "settings", "api", "evidence"},
    "labelling": STAGES | {"words", "model", "settings", "api"},
    "judging": STAGES | {"words", "model", "settings", "api"},
    "courses": STAGES | {"words", "model", "settings", "api"},
    "loading": STAGES | {"words", "model", "settings", "api", "works"},
    "works": STAGES | {"words", "model", "settings", "api"},
    "frames": STAGES | {"words", "model", "settings", "api", "works"},
    "datasets": STAGES | {"words", "model", "settings", "api", "works", "frames"},
    "resource_frames": STAGES | {"words", "model", "settings", "api", "works", "frames"},
    "resource_datasets": STAGES
    | {"words", "model", "settings", "api", "works", "frames", "datasets", "resource_frames"},
    "exporting": STAGES | {"words", "model", "settings", "api"},
    "sampling": STAGES | {"words", "model", "settings", "api"},
    "sending": STAGES | {"words", "model", "settings", "api"},
    "searching": STAGES | {"words", "model", "settings", "api"},
    "review_page": STAGES | {"words", "model", "settings", "api", "amending", "judging"},
    "pattern_words": frozenset({"archive", "words", "model"}),
    "cli": STAGES
    | {
        "words",
        "model",
        "shipped_files",
        "settings",
        "api",
        "amending",
        "forgetting",
        "labelling",
        "suggesting",
        "judging",
        "relinking",
        "courses",
        "datasets",
        "resource_datasets",
        "exporting",
        "loading",
        "sampling",
        "searching",
        "works",
        "sending",
        "pattern_words",
        "review_page",
        "collector",
    },
    **{stage: frozenset({"words", "model", "shipped_files", "lazily", "collector"}) for stage in STAGES},
}
HEAVY = frozenset(
    {"duckdb", "lxml", "fhir", "jinja2", "rich", "fhirpathpy", "pyarrow", "vl_convert", "httpx", "psycopg"}
    | {
        "phenopackets",
        "google",
        "starlette",
        "uvicorn",
        "re2",
        "orjson",
        "msgspec",
        "nanoarrow",
        "pyspark",
        "pandas",
    }
)
FORBIDDEN = re.compile(r"/work\b|helper session|\bissues? #?\d+|\bhouse rule", re.IGNORECASE)
LONGEST_MODULE, LONGEST_FUNCTION = 400, 40


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def part_of(path: Path) -> str:
    """The package or top-level module that a file belongs to."""
    inside = path.relative_to(CONVERTER)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imports_of(path: Path) -> Iterator[tuple[str, bool]]:
    """Every module that a file imports, and whether it does so as soon as it is imported itself."""
    at_once = set(_at_once(tree_of(path).body))
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node in at_once) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}: relative imports hide what is above"
            if node.module == "converter":
                yield from ((f"converter.{alias.name}", node in at_once) for alias in node.names)
            else:
                yield node.module or "", node in at_once


def _at_once(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    for node in body:
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            continue
        yield node
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            for field in ("body", "orelse", "handlers", "finalbody"):
                inner = getattr(node, field, [])
                yield from _at_once([entry for entry in inner if isinstance(entry, ast.stmt)])
                for entry in inner:
                    yield from _at_once(entry.body) if isinstance(entry, ast.ExceptHandler) else ()


def functions_of(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def public_definitions(
    body: list[ast.stmt],
) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]:
    """Public classes and functions, and the public methods of public classes."""
    for node in body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue
        if not node.name.startswith("_"):
            yield node
            yield from public_definitions(node.body if isinstance(node, ast.ClassDef) else [])


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_go_down_only(path: Path) -> None:
    part = part_of(path)
    if part == "__init__":
        return
    allowed = BELOW[part] | {part}
    above = {
        module
        for module, _ in imports_of(path)
        if module.startswith("converter")
        and module.removeprefix("converter").split(".")[1:2] != []
        and module.split(".")[1] not in allowed
    }
    assert not above, f"{name_of(path)} imports {', '.join(sorted(above))}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_heavy_libraries_are_imported_where_they_are_used(path: Path) -> None:
    heavy = {module for module, at_once in imports_of(path) if at_once and module.split(".")[0] in HEAVY}
    assert not heavy, f"{name_of(path)} imports {', '.join(sorted(heavy))} as soon as it is imported"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_modules_are_short_and_say_what_they_are(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST_MODULE, f"{name_of(path)} has {lines} lines"
    docstring = ast.get_docstring(tree_of(path))
    assert docstring, f"{name_of(path)} does not say what it is"
    assert len(docstring.split()) >= 4, f"{name_of(path)} says too little of what it is: {docstring}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_functions_are_short(path: Path) -> None:
    long = [
        f"{node.name} ({node.end_lineno - node.lineno + 1})"
        for node in functions_of(path)
        if node.end_lineno is not None and node.end_lineno - node.lineno >= LONGEST_FUNCTION
    ]
    assert not long, f"{name_of(path)}: {', '.join(long)}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_public_names_are_explained(path: Path) -> None:
    bare = [node.name for node in public_definitions(tree_of(path).body) if not ast.get_docstring(node)]
    assert not bare, f"{name_of(path)}: no docstring on {', '.join(bare)}"


def test_no_word_of_the_workplace_stands_in_the_code() -> None:
    places = [
        f"{name_of(path)}: {found.group()}"
        for folder in ("converter", "tests", "fixtures", "profiles")
        for path in sorted((ROOT / folder).rglob("*"))
        if path.suffix in {".py", ".toml", ".csv", ".md", ".json", ".sql", ".ebnf"} and path != Path(__file__)
        for found in FORBIDDEN.finditer(path.read_text(encoding="utf-8"))
    ]
    assert not places


def test_the_map_of_packages_names_each_package() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    packages = sorted(STAGES | {"cli", "words", "model", "review_page"})
    missing = [part for part in packages if f"`converter/{part}`" not in text]
    assert not missing


def test_the_installed_program_has_the_version_that_the_code_says() -> None:
    assert metadata.version("plexor") == __version__
