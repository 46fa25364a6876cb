"""Who writes into what was only lent: the writes of a class into what it reaches through its view.

What is reached through `self.view`, through a parameter that is a view, or through an attribute of
the class in which something so reached was put, is borrowed; so is a part of it, and what its own
methods answer. What any other function makes of it is a thing of its own. A name of a function is
taken to be borrowed throughout if it is anywhere.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping

CHANGING = frozenset(
    {"add", "append", "appendleft", "clear", "discard", "extend", "extendleft", "insert", "pop",
     "popitem", "popleft", "remove", "reverse", "setdefault", "sort", "update"}
)  # fmt: skip
"""Methods that change Python's own collections."""
LENT = re.compile(r"\b(\w*View|Batch)\b")
"""Types of what is never a class's own."""

Lent = Mapping[str, set[str]]
"""By class, its attributes that hold what is borrowed."""


def lent_in(classes: list[ast.ClassDef]) -> dict[str, set[str]]:
    """What each class keeps of what it borrowed, its parents' attributes included."""
    lent: dict[str, set[str]] = {kind.name: {"view"} for kind in classes}
    while True:
        before = {name: set(kept) for name, kept in lent.items()}
        for kind in classes:
            for parent in kind.bases:
                lent[kind.name] |= lent.get(ast.unparse(parent), set())
            for function in _functions(kind):
                lent[kind.name] |= _Names(function, lent[kind.name]).kept
        if lent == before:
            return lent


def writes(tree: ast.AST, lent: Lent, changing: frozenset[str] = frozenset()) -> list[str]:
    """Line and text of every write in a class, or in functions beside classes, into the borrowed.

    `changing` are further methods that change what they are called on. To use somebody's private
    name is a write: it leads round the view.
    """
    kept = lent.get(tree.name if isinstance(tree, ast.ClassDef) else "", {"view"})
    found = []
    for function in _functions(tree):
        names = _Names(function, kept)
        for node in ast.walk(function):
            if any(_written(node, names, CHANGING | changing)):
                text = ast.unparse(node).partition("\n")[0]
                found.append(f"line {getattr(node, 'lineno', 0)}: {text}")
    return list(dict.fromkeys(found))


def _functions(tree: ast.AST) -> Iterator[ast.FunctionDef]:
    body = getattr(tree, "body", [])
    return (node for node in body if isinstance(node, ast.FunctionDef))


class _Names:
    """What is borrowed within one function; `kept` grows by the attributes that come to hold it."""

    def __init__(self, function: ast.FunctionDef, kept: set[str]) -> None:
        self.kept = set(kept)
        self.names = {
            arg.arg
            for arg in (*function.args.args, *function.args.kwonlyargs)
            if arg.arg == "view" or (arg.annotation and LENT.search(ast.unparse(arg.annotation)))
        }
        known = (-1, -1)
        while known != (len(self.names), len(self.kept)):
            known = len(self.names), len(self.kept)
            for node in ast.walk(function):
                for target, value in _bindings(node):
                    self._bind(target, value)

    def _bind(self, target: ast.expr, value: ast.expr) -> None:
        match target, value:
            case ast.Tuple(elts=targets), ast.Tuple(elts=values) if len(targets) == len(values):
                for one, its in zip(targets, values, strict=True):
                    self._bind(one, its)
            case ast.Tuple(elts=targets), _:
                for one in targets:
                    self._bind(one, value)
            case ast.Name(id=name), _ if self.borrowed(value):
                self.names.add(name)
            case ast.Attribute(value=ast.Name(id="self"), attr=name), _ if self.borrowed(value):
                self.kept.add(name)

    def borrowed(self, node: ast.expr) -> bool:
        """Whether an expression leads to what was lent."""
        match node:
            case ast.Name(id=name):
                return name in self.names
            case ast.Attribute(value=ast.Name(id="self"), attr=name):
                return name in self.kept
            case ast.Call(func=ast.Name(id=made)):
                return bool(LENT.fullmatch(made))
            case ast.Attribute(value=inner) | ast.Subscript(value=inner) | ast.Starred(value=inner):
                return self.borrowed(inner)
            case ast.Call(func=ast.Attribute() as called):
                return self.borrowed(called)
            case ast.NamedExpr(value=inner):
                return self.borrowed(inner)
            case ast.IfExp(body=one, orelse=other):
                return self.borrowed(one) or self.borrowed(other)
            case ast.BoolOp(values=values):
                return any(self.borrowed(value) for value in values)
            case _:
                return False


def _bindings(node: ast.AST) -> Iterator[tuple[ast.expr, ast.expr]]:
    """Each target that gets a value here."""
    match node:
        case ast.Assign(targets=targets, value=value):
            yield from ((target, value) for target in targets)
        case ast.AnnAssign(target=target, value=ast.expr() as value):
            yield target, value
        case ast.NamedExpr(target=target, value=value):
            yield target, value
        case ast.For(target=target, iter=value) | ast.comprehension(target=target, iter=value):
            yield target, value
        case ast.withitem(context_expr=value, optional_vars=ast.expr() as target):
            yield target, value


def _written(node: ast.AST, names: _Names, changing: frozenset[str]) -> Iterator[bool]:
    """Whether this node writes into what was lent."""
    match node:
        case ast.Assign(targets=targets) | ast.Delete(targets=targets):
            yield from (_into(one, names) for target in targets for one in _parts(target))
        case ast.AnnAssign(target=target) | ast.For(target=target):
            yield from (_into(one, names) for one in _parts(target))
        case ast.AugAssign(target=target):
            yield _into(target, names) or names.borrowed(target)
        case ast.Call(func=ast.Name(id="setattr" | "delattr"), args=[first, *_]):
            yield names.borrowed(first)
        case ast.Attribute(value=value, attr=name):
            yield names.borrowed(value) and (name.startswith("_") or name in changing)


def _parts(target: ast.expr) -> Iterator[ast.expr]:
    if isinstance(target, (ast.Tuple, ast.List)):
        for one in target.elts:
            yield from _parts(one)
    else:
        yield target


def _into(target: ast.expr, names: _Names) -> bool:
    return isinstance(target, (ast.Attribute, ast.Subscript)) and names.borrowed(target.value)
