"""What of the package its own code comes to, from what runs by itself.

A part is a function, a class, a member of a class, or a name given at the top of a file. What
stands loose at the top of a file runs when it is imported; whatever is named there is in use, and
so is whatever a part in use names, until nothing is added. Names are followed by imports and within
a file, members by their name alone, since nobody knows what stands before the dot: what is told is
unused for certain, and a member with a common name may hide.

What others call is known by rule: dunder names, what a decorator hands to a framework, what
overrides a member of a library's class, what a template names, and the programs of pyproject.toml.
"""

from __future__ import annotations

import ast
import importlib
import re
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from tests.house import PACKAGE, ROOT, Module

PLAIN = {
    "abstractmethod", "cache", "cached_property", "classmethod", "contextmanager", "dataclass",
    "lru_cache", "overload", "override", "property", "runtime_checkable", "staticmethod", "unique",
}  # fmt: skip
"""Decorators that hand nothing to anybody; any other registers what it decorates."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True, slots=True)
class Part:
    """`owner` is the class of a member, "" at the top of a file; loose code has no name."""

    module: Module
    owner: str
    name: str
    code: tuple[ast.AST, ...]
    asked: bool = False
    """Whether somebody outside calls it."""

    def __str__(self) -> str:
        line = next((node.lineno for node in self.code if hasattr(node, "lineno")), 1)
        name = ".".join(filter(None, (self.owner, self.name)))
        return f"{self.module.path.relative_to(ROOT)}:{line}: {name}"


def unused(modules: Iterable[Module]) -> list[str]:
    """Every part of these modules that nothing in use names, by file and line."""
    reach = Reach(tuple(modules))
    return [str(part) for part in reach.parts if part not in reach.used]


class Reach:
    """All parts of the package, and which of them are in use."""

    def __init__(self, modules: tuple[Module, ...]) -> None:
        self.parts = [part for module in modules for part in _parts(module)]
        self.top: dict[tuple[str, str], list[Part]] = defaultdict(list)
        self.members: dict[str, list[Part]] = defaultdict(list)
        names = {module.name for module in modules}
        self.imported = {module.name: dict(_imported(module, names)) for module in modules}
        for part in self.parts:
            if part.owner:
                self.members[part.name].append(part)
            else:
                self.top[part.module.name, part.name].append(part)
        self.used = self._used()

    def _used(self) -> set[Part]:
        waiting = [each for each in self.parts if not each.name or (each.asked and not each.owner)]
        for word in _template_words():
            waiting += self.members[word]
        for module, name in _programs():
            waiting += self._called(module, name)
        used: set[Part] = set()
        while waiting:
            part = waiting.pop()
            if part not in used:
                used.add(part)
                waiting += self._named_by(part)
        return used

    def _named_by(self, part: Part) -> Iterator[Part]:
        here, imported = part.module.name, self.imported[part.module.name]
        nodes = [node for code in part.code for node in ast.walk(code)]
        before_dots = {id(node.value) for node in nodes if isinstance(node, ast.Attribute)}
        attributes = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
        names = {node.id for node in nodes if isinstance(node, ast.Name)}
        yield from (one for name in attributes for one in self.members[name])
        yield from (one for name in names for one in self._called(here, name))
        if not part.owner:
            yield from self._own_members(part, names)
        for node in nodes:
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                yield from self._in_module(imported.get(node.value.id), {node.attr})
            elif isinstance(node, ast.Name) and id(node) not in before_dots:
                yield from self._in_module(imported.get(node.id), attributes)

    def _own_members(self, part: Part, names: set[str]) -> Iterator[Part]:
        """What others call of a class, and what its own body names."""
        for members in self.members.values():
            for one in members:
                own = (one.module, one.owner) == (part.module, part.name)
                if own and (one.asked or one.name in names):
                    yield one

    def _in_module(self, target: tuple[str, str] | None, names: set[str]) -> Iterator[Part]:
        """What `names` mean in a module that is imported as a whole, or handed on as a value."""
        if target is not None and not target[1]:
            for name in names:
                yield from self._called(target[0], name)

    def _called(self, module: str, name: str) -> list[Part]:
        """What a name in a file means: its own part, or where it is imported from."""
        if found := self.top.get((module, name)):
            return found
        source = self.imported.get(module, {}).get(name, (module, name))
        if source != (module, name):
            return self._called(*source)
        if (module, "__getattr__") not in self.top:
            return []
        within = f"{module}."
        return [p for p in self.parts if p.name == name and p.module.name.startswith(within)]


def _parts(module: Module) -> Iterator[Part]:
    loose: list[ast.stmt] = []
    for node in module.tree.body:
        if isinstance(node, Function):
            yield Part(module, "", node.name, (node,), _handed_over(node) or _dunder(node.name))
        elif isinstance(node, ast.ClassDef):
            yield from _class_parts(module, node)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for name in (n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)):
                yield Part(module, "", name, (node,), _dunder(name))
        elif not isinstance(node, ast.Import | ast.ImportFrom):
            loose.append(node)
    yield Part(module, "", "", (ast.Module(loose, []),))


def _class_parts(module: Module, node: ast.ClassDef) -> Iterator[Part]:
    methods = [each for each in node.body if isinstance(each, Function)]
    rest = [each for each in node.body if not isinstance(each, Function)]
    head = (*rest, *node.decorator_list, *node.bases, *node.keywords)
    yield Part(module, "", node.name, head, _handed_over(node))
    for method in methods:
        asked = _handed_over(method) or _dunder(method.name) or _overrides(module, node, method)
        yield Part(module, node.name, method.name, (method,), asked)


def _dunder(name: str) -> bool:
    return name.startswith("__") and name.endswith("__")


def _handed_over(node: Function | ast.ClassDef) -> bool:
    """Whether a decorator hands it to a framework."""
    written = [ast.unparse(each).partition("(")[0] for each in node.decorator_list]
    return any(name.rpartition(".")[2] not in PLAIN for name in written)


def _overrides(module: Module, owner: ast.ClassDef, method: Function) -> bool:
    """Whether a library's class, which calls it, is among the bases and knows such a member."""
    if not owner.bases:
        return False
    loaded = importlib.import_module(f"kuraban.{module.name}".rstrip("."))
    bases = getattr(loaded, owner.name).__mro__[1:]
    strangers = [base for base in bases if not base.__module__.startswith("kuraban")]
    return any(hasattr(base, method.name) for base in strangers)


def _imported(module: Module, known: set[str]) -> Iterator[tuple[str, tuple[str, str]]]:
    """A name in a file, and the module and name that it stands for; a module itself is ""."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom) and f"{node.module}.".startswith("kuraban."):
            inner = str(node.module).removeprefix("kuraban").removeprefix(".")
            for alias in node.names:
                whole = f"{inner}.{alias.name}".removeprefix(".")
                target = (whole, "") if whole in known else (inner, alias.name)
                yield alias.asname or alias.name, target


def _template_words() -> set[str]:
    texts = [path.read_text("utf-8") for path in PACKAGE.rglob("*.html")]
    filled = [part for text in texts for part in re.findall(r"(?s)\{[{%].*?[%}]\}", text)]
    return {word for part in filled for word in re.findall(r"\w+", part)}


def _programs() -> Iterator[tuple[str, str]]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    for target in project["scripts"].values():
        module, _, name = target.removeprefix("kuraban.").partition(":")
        yield module, name
