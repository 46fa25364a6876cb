"""Every constant of the brewer's arithmetic, half a per cent off: does the namesake test see it?

Each number in `trade/` but 0, 1 and 2 is made 1.005 of itself, one at a time, in a process of its
own, in which the module's namesake test runs. Left out are the ranges beyond which an
argument is refused: half a per cent of those changes no figure; and the tables of `liquids.py`,
which its own test takes one by one, since few of their powers count in sake. Where a test says why
a constant cannot matter, that stands in `CANNOT_MATTER`.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from tests.bench.mutants import ROOT, Mutant

TRADE = ROOT / "daemon" / "kuraban" / "trade"
RESULTS = Path(__file__).resolve().parent / "results" / "constants.json"
OFF = 1.005
HEAVY = ("numpy", "scipy.stats", "CoolProp.CoolProp", "psychrolib", "hypothesis")
"""Libraries of the tests, loaded once; nothing of kuraban is before a process has its own."""
REFUSES = frozenset({"within", "above", "all_finite"})
TABLES = frozenset({"_AT_20", "_OFF_20", "_SUGAR"})
CANNOT_MATTER = {
    "density.py 100": "half a per cent of the sugar is 0.005 SMV (test_sweet_water_is_put_right)",
    "liquids.py 100": "half a per cent of what 20 K do to a tenth of sugar is 0.004 kg/m³ of 1031",
    "robust.py 1e-24": "rounding alone lies below it, any change of a thermometer far above",
    "solve.py 1e-09": "where the search ends, a thousandth of what anybody can read",
    "spirit.py 15": "0.075 K in the density of spirit is a hundredth of a per cent of it",
}
"""Module and constant: why half a per cent of it is seen by nobody."""


def numbers(tree: ast.AST) -> Iterator[ast.Constant]:
    """The constants of a module, but for those that are left out."""
    unseen = {id(inner) for node in ast.walk(tree) if _left_out(node) for inner in ast.walk(node)}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or id(node) in unseen:
            continue
        if type(node.value) in (int, float) and node.value not in (0, 1, 2):
            yield node


def _left_out(node: ast.AST) -> bool:
    match node:
        case ast.Call(func=ast.Name(id=name)) if name in REFUSES:
            return True
        case ast.Assign(targets=[ast.Name(id=name)]) if name in TABLES:
            return True
    return False


def mutants() -> Iterator[Mutant]:
    for module in sorted(TRADE.glob("*.py")):
        tree = ast.parse(module.read_text("utf-8"))
        test = ROOT / "tests" / "trade" / f"test_{module.name}"
        for number, found in enumerate(numbers(tree)):
            wrong = copy.deepcopy(tree)
            twin = list(numbers(wrong))[number]
            twin.value *= OFF  # type: ignore[operator]
            yield Mutant(module, test, found.lineno, str(found.value), str(twin.value),
                         ast.unparse(wrong))  # fmt: skip


def killed(mutant: Mutant) -> bool:
    """Whether the namesake test sees it. The process ends with what pytest said."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) != 0
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)
    _put_in_place(mutant)
    said = pytest.main(["-x", "-q", "-n", "0", "-p", "no:cacheprovider", str(mutant.test)])
    os._exit(int(said))


def _put_in_place(mutant: Mutant) -> None:
    """Whoever imports the module from now on gets the wrong one."""
    name = f"kuraban.trade.{mutant.module.stem}"
    trade = importlib.import_module("kuraban.trade")
    module = ModuleType(name)
    module.__file__ = str(mutant.module)
    sys.modules[name] = module
    exec(compile(mutant.text, mutant.module, "exec"), module.__dict__)
    setattr(trade, mutant.module.stem, module)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", help="modules whose name holds this")
    chosen = parser.parse_args()
    made = [one for one in mutants() if (chosen.only or "") in one.module.name]
    for library in HEAVY:
        importlib.import_module(library)
    alive = []
    for number, one in enumerate(made, 1):
        dead = killed(one)
        if not dead:
            alive.append(f"{one.place}: {one.was}")
        print(f"{number}/{len(made)} {one.place}: {one.was} {'' if dead else 'LIVES'}", flush=True)
    excused = [one for one in alive if _key(one) in CANNOT_MATTER]
    for line in alive:
        print(f"lives: {line}  {CANNOT_MATTER.get(_key(line), '')}")
    print(f"{len(made)} constants, {len(made) - len(alive)} killed by the namesake test, "
          f"{len(excused)} cannot matter")  # fmt: skip
    if chosen.only is None:
        told = {"made": len(made), "killed": len(made) - len(alive), "alive": alive}
        RESULTS.write_text(json.dumps(told, indent=2) + "\n", "utf-8")
    return 0 if len(alive) == len(excused) else 1


def _key(line: str) -> str:
    """`density.py 0.05` of a line about a survivor."""
    place, _, value = line.rpartition(": ")
    return f"{Path(place.rpartition(':')[0]).name} {value}"


if __name__ == "__main__":
    sys.exit(main())
