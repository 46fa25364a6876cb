"""The package as its house rules see it: modules, what they import, and what they call."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "daemon" / "kuraban"
TESTS = ROOT / "tests"

FLOORS = (
    ("errors",),
    ("trade",),
    ("core",),
    ("store",),
    ("edges",),
    ("settings",),
    (
        "clock", "clock_steps", "demo", "feed", "imports", "queries", "recording", "rehearse",
        "reading_ahead", "replay", "runtime",
    ),
    ("cli", "runtime.pages_main", "runtime.watch_main"),
)  # fmt: skip
"""From the ground up; a module imports from lower floors, and from its own without a circle."""

CORE = (
    (
        "timescale",
        "units",
        "planned_curve",
        "effects",
        "entries",
        "alarm_conditions",
        "facts",
        "site",
        "rota",
        "deadlines",
    ),
    ("intake", "plan", "probes", "texts", "views"),
    ("forecast.reckoning_cache", "equipment.cooler_habit"),
    ("house_state", "house_view"),
    ("equipment", "fates"),
    ("forecast",),
    ("detectors",),
    ("alarms",),
    ("notify",),
    ("engine",),
)
"""The rooms of the core by the way of the data: the nouns first, then what comes in and what is
known, what it means, who is told, and at last what holds order and time."""

CROWDED = 16
"""Files in a room from which its next line of code would not know its place. Commands and detectors
are lists of things alike, one a file, and may be longer."""
LISTS = ("cli", "core.detectors")


@dataclass(frozen=True)
class Module:
    """One file; `name` is its dotted name under kuraban, "" for the package itself."""

    name: str
    path: Path
    given: ast.Module | None = None
    """What stands in it, where that is not to be read."""

    @cached_property
    def tree(self) -> ast.Module:
        return self.given or ast.parse(self.path.read_text("utf-8"))

    @property
    def room(self) -> str:
        """The part of the package that it belongs to; a program of its own is one by itself."""
        alone = any(self.name in rooms for rooms in FLOORS)
        return self.name if alone else self.name.partition(".")[0]

    @property
    def floor(self) -> int:
        """Its floor from 0; LookupError where no floor holds it."""
        for number, rooms in enumerate(FLOORS):
            if self.room in rooms:
                return number
        raise LookupError(f"{self.path.relative_to(ROOT)} stands on no floor")

    @property
    def storey(self) -> int:
        """Its place in the core, from 0; LookupError where no room of the core holds it."""
        inner = self.name.removeprefix("core.")
        for part in (inner, inner.partition(".")[0]):
            for number, rooms in enumerate(CORE):
                if part in rooms:
                    return number
        raise LookupError(f"{self.path.relative_to(ROOT)} stands in no room of the core")

    def imports(self) -> set[str]:
        """Dotted names of everything imported, wherever it stands."""
        return set(imports_of(self.tree))

    def own_imports(self) -> set[str]:
        """Dotted names under kuraban of the modules of ours that it imports."""
        known = {module.name for module in modules()}
        found = set()
        for name in self.imports():
            if name == "kuraban" or name.startswith("kuraban."):
                inner = name.removeprefix("kuraban").removeprefix(".")
                while inner not in known:
                    inner = inner.rpartition(".")[0]
                found.add(inner)
        return found - {self.name}

    def foreign_imports(self) -> set[str]:
        """Top-level names of libraries, neither ours nor Python's own."""
        tops = {name.partition(".")[0] for name in self.imports()}
        return tops - sys.stdlib_module_names - {"kuraban"}

    def calls(self) -> Iterator[str]:
        """Dotted names of everything called, as they are written; not what a file run by itself
        does below its `if __name__ == "__main__"`."""
        for part in self.tree.body:
            if isinstance(part, ast.If) and "__main__" in ast.unparse(part.test):
                continue
            for node in ast.walk(part):
                if isinstance(node, ast.Call):
                    yield ast.unparse(node.func)


def imports_of(tree: ast.Module) -> Iterator[str]:
    """Dotted names of everything imported, wherever it stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written out in full"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the package, sorted by name."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts[0] == "shared":
            continue
        parts = parts[:-1] if parts[-1] == "__init__" else parts
        found.append(Module(".".join(parts), path))
    return tuple(found)


def namesake(module: Module) -> Path:
    """Where the tests of that module must be."""
    inner = module.path.relative_to(PACKAGE)
    return TESTS / inner.parent / f"test_{inner.name}"


def tells_only_names(module: Module) -> bool:
    """Whether a package's own file holds a docstring and names imported from elsewhere, no code."""
    plain = (ast.Expr, ast.Import, ast.ImportFrom, ast.Assign)
    return module.path.name == "__init__.py" and all(
        isinstance(node, plain) for node in module.tree.body
    )


def text_files() -> Iterator[Path]:
    """Everything of ours that a person reads: code, documents, configuration, words."""
    kinds = {".py", ".md", ".toml", ".conf", ".service", ".html", ".css", ".js", ".json", ".sh", ""}
    for top in ("daemon", "deploy", "tests", "fixtures", "shared"):
        for path in sorted((ROOT / top).rglob("*")):
            hidden = any(part.startswith(".") or part == "__pycache__" for part in path.parts[1:])
            linked = "kuraban/shared/" in path.as_posix()
            if path.is_file() and path.suffix in kinds and not hidden and not linked:
                yield path
    for name in ("README.md", "DEVELOPERS.md", "pyproject.toml", ".ci/run"):
        if (ROOT / name).exists():
            yield ROOT / name


def members_of(kind: type) -> set[str]:
    """The public names of a class: what it keeps in slots, shows and does."""
    return {
        name
        for part in kind.__mro__
        for name in vars(part)
        if not name.startswith("_") and part.__module__.startswith("kuraban.")
    }


def code_spans(document: str) -> str:
    """The parts of a Markdown document that are set as code, fenced or in backticks."""
    parts = document.split("```")
    fenced, prose = parts[1::2], parts[0::2]
    spans = [span for text in prose for span in text.split("`")[1::2]]
    return "\n".join([*fenced, *spans])
