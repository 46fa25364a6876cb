"""Small wrongs in the core, one at a time: does the namesake test of each module see them?

Each mutant is one change in one module (a comparison, a sign, a number, a condition, an answer) in
a copy of the package; the module's namesake test runs against it, and nothing else. One that lives
is either a hole in that test or cannot matter: it is printed with its place, to be looked at.
Beforehand each of these tests runs against an unchanged copy: one that fails there sees nothing.

Left out is what no brewery can tell: keywords of a class (`frozen`), decorators (the size of a
cache), and the `strict` of a `zip`, which only guards against a fault of our own.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from rich.progress import track

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "daemon" / "kuraban" / "core"
ROOMS = {
    "judging": ("detectors", "probes", "forecast", "equipment"),
    "alarms": ("alarms",),
    "ladder": ("notify", "rota.py", "deadlines.py"),
    "entries": ("plan", "fates", "intake"),
}
RESULTS = Path(__file__).resolve().parent / "results" / "mutants.json"
LONGEST = 300.0
"""Seconds after which a test that hangs has seen the wrong; counted by itself."""
SWAPPED = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or,
    ast.Or: ast.And,
}  # fmt: skip
CHANGED = ast.Compare, ast.BinOp, ast.BoolOp, ast.Return, ast.If, ast.IfExp


@dataclass(frozen=True, slots=True)
class Mutant:
    """One wrong: what becomes of the site of that number in its module, None for nothing."""

    module: Path
    test: Path
    line: int
    was: str
    now: str
    site: int | None

    @property
    def place(self) -> str:
        return f"{self.module.relative_to(ROOT)}:{self.line}"

    @property
    def text(self) -> str:
        """The module with it."""
        if self.site is None:
            return self.module.read_text("utf-8")
        tree = _parsed(self.module)
        _changed(list(_sites(tree))[self.site])
        return ast.unparse(ast.fix_missing_locations(tree))


def _parsed(module: Path) -> ast.AST:
    """Without what functions say that they answer, which only the checker reads."""
    tree = ast.parse(module.read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            node.returns = None
    return tree


def _sites(tree: ast.AST) -> Iterator[ast.AST]:
    """What can be changed; not what only the checker or the reader sees."""
    unseen = {id(inner) for node in ast.walk(tree) for part in _unseen(node)
              for inner in ast.walk(part)}  # fmt: skip
    for node in ast.walk(tree):
        if id(node) in unseen:
            continue
        if isinstance(
            node, (ast.Compare, ast.BinOp, ast.BoolOp, ast.Return, ast.If, ast.IfExp)
        ) or (isinstance(node, ast.Constant) and type(node.value) in (int, float, bool)):
            yield node


def _unseen(node: ast.AST) -> list[ast.AST]:
    """The parts of a node that change nothing a brewery could tell."""
    match node:
        case ast.ClassDef():
            return [*node.keywords, *node.decorator_list]
        case ast.FunctionDef():
            return [*node.decorator_list]
        case ast.keyword(arg="strict"):
            return [node]
        case _:
            return []


def _changed(node: ast.AST) -> bool:
    """Make it wrong; whether that was possible."""
    match node:
        case ast.Compare(ops=[only]) if type(only) in SWAPPED:
            node.ops = [SWAPPED[type(only)]()]
        case ast.BinOp() if type(node.op) in SWAPPED:
            node.op = SWAPPED[type(node.op)]()
        case ast.BoolOp():
            node.op = SWAPPED[type(node.op)]()
        case ast.Constant(value=bool()):
            node.value = not node.value
        case ast.Constant():
            node.value = node.value * 2 if node.value else 1
        case ast.If() | ast.IfExp():
            node.test = ast.UnaryOp(ast.Not(), node.test)
        case ast.Return(value=ast.expr()) if not isinstance(node.value, ast.Constant):
            node.value = ast.Constant(None)
        case _:
            return False
    return True


def mutants_of(module: Path, test: Path) -> list[Mutant]:
    """Every wrong that this file's list of changes makes of a module."""
    found = []
    for number, site in enumerate(list(_sites(_parsed(module)))):
        wrong = copy.deepcopy(site)
        if _changed(wrong):
            ast.fix_missing_locations(wrong)
            was, now = (ast.unparse(each).partition("\n")[0] for each in (site, wrong))
            if now != was:
                found.append(Mutant(module, test, getattr(site, "lineno", 0), was, now, number))
    return found


def modules(room: str) -> list[tuple[Path, Path]]:
    found = []
    for part in ROOMS[room]:
        where = CORE / part
        for module in [where] if where.is_file() else sorted(where.glob("*.py")):
            inner = module.relative_to(CORE.parent)
            test = ROOT / "tests" / inner.parent / f"test_{inner.name}"
            if test.exists():
                found.append((module, test))
    return found


def drawn(room: str, count: int, dice: random.Random) -> list[Mutant]:
    """`count` wrongs of a room: a module by chance, then one of its wrongs."""
    kept = {module: mutants_of(module, test) for module, test in modules(room)}
    pool = [mutant for found in kept.values() for mutant in found]
    return dice.sample(pool, min(count, len(pool)))


def tried(mutant: Mutant) -> str:
    """What the namesake test says to it: `killed`, `hung` or `lives`."""
    with tempfile.TemporaryDirectory() as folder:
        package = Path(folder) / "kuraban"
        shutil.copytree(ROOT / "daemon" / "kuraban", package, ignore=_no_caches)
        (package / mutant.module.relative_to(ROOT / "daemon" / "kuraban")).write_text(
            mutant.text, "utf-8"
        )
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider"]
        path = os.pathsep.join([folder, str(ROOT)])
        try:
            done = subprocess.run(
                [*command, str(mutant.test)], cwd=ROOT, capture_output=True, timeout=LONGEST,
                env={**os.environ, "PYTHONPATH": path, "HYPOTHESIS_PROFILE": "ci"}, check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return "hung"
        return "killed" if done.returncode else "lives"


def _no_caches(_folder: str, names: list[str]) -> list[str]:
    return [name for name in names if name == "__pycache__"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=15, help="wrongs a room (15)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", choices=ROOMS, action="append")
    chosen = parser.parse_args()
    dice = random.Random(chosen.seed)
    all_of = [
        (room, mutant) for room in chosen.room or ROOMS for mutant in drawn(room, chosen.each, dice)
    ]
    tests = {mutant.test: mutant for _, mutant in all_of}
    sound = [replace(one, site=None) for one in tests.values()]
    with ThreadPoolExecutor(2) as pool:
        broken = [one.test.name for one, end in zip(sound, pool.map(tried, sound), strict=True)
                  if end != "lives"]  # fmt: skip
    if broken:
        parser.error(f"these tests fail by themselves; mend them first: {', '.join(broken)}")
    tally: dict[str, Counter[str]] = {room: Counter() for room in chosen.room or ROOMS}
    alive: list[str] = []
    with ThreadPoolExecutor(2) as pool:
        seen = pool.map(lambda one: tried(one[1]), all_of)
        pairs = zip(all_of, seen, strict=True)
        for (room, mutant), end in track(pairs, "mutants", total=len(all_of)):
            tally[room]["made"] += 1
            tally[room][end] += 1
            if end == "lives":
                alive.append(f"{mutant.place}: {mutant.was} -> {mutant.now}")
    for line in alive:
        print(f"lives: {line}")
    for room, counts in tally.items():
        seen = counts["killed"] + counts["hung"]
        print(f"{room}: {seen} of {counts['made']} seen, {counts['hung']} of them as it hung")
    RESULTS.write_text(
        json.dumps({"seed": chosen.seed, "rooms": tally, "alive": alive}, indent=2) + "\n", "utf-8"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
