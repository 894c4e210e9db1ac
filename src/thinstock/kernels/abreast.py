"""The plain face of a march for many cases: the body of the march of one case, turned into one over arrays.

Where a compiler is not at hand, Python's own loops take some milliseconds a case. The very same bodies, read as a
tree, can work on all cases abreast: a branch becomes a mask, a choice takes both ways where cases differ, a loop goes
on until no case asks for more. Formulas of the relations take arrays as they are. So there is no second body of
anything, and each case ends up as it does alone, to rounding.
"""

from __future__ import annotations

import ast
import threading
import types
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

from thinstock.kernels import abreast_numbers as runtime

RUNTIME = (
    "both", "either", "nowhere", "split", "into", "chosen", "all_of", "any_of", "opposite", "least", "most", "got",
    "put",
)  # fmt: skip
_LIVE, _MASK, _RESULT = "_live", "_mask", "_result"
RARE = ("surely",)
"""Parts that few cases come to, one by one then: their passes are many."""
_CALLED = {"min": "_least", "max": "_most"}


_MADE: dict[Any, Callable[..., Any]] = {}
_ONE_AT_A_TIME = threading.RLock()


def abreast(function: Callable[..., Any], marked: Callable[[Any], bool]) -> Callable[..., Any]:
    """The function over arrays of cases; its first argument is the mask of the cases that go on.

    `marked` tells which of the functions that it calls are turned along with it.
    """
    with _ONE_AT_A_TIME:
        if function not in _MADE:
            _MADE[function] = _written(function, marked)
    return _MADE[function]


def _written(function: Callable[..., Any], marked: Callable[[Any], bool]) -> Callable[..., Any]:
    scope = {**function.__globals__, "np": runtime.Numpy()}
    scope.update({f"_{name}": getattr(runtime, name) for name in RUNTIME})
    called: set[str] = set()
    for name in function.__code__.co_names:
        used: Any = scope.get(name)
        used = getattr(used, "body", used)
        if isinstance(used, types.FunctionType) and marked(used):
            if ".relations." in used.__module__:
                scope[name] = used  # takes arrays as it is
                continue
            called.add(name)
            scope[name] = abreast(used, marked)
            if name in RARE:
                scope[name] = runtime.few_alone(used, scope[name])
    tree = _Writer(called).function(_definition(function))
    module = ast.fix_missing_locations(ast.Module([tree], []))
    exec(compile(module, f"<{function.__qualname__} abreast>", "exec"), scope)
    return cast(Callable[..., Any], scope[tree.name])


@lru_cache(maxsize=64)
def _tree(path: str) -> dict[tuple[str, int], ast.FunctionDef]:
    """The functions of a source file by name and line."""
    tree = ast.parse(Path(path).read_text(encoding="utf-8"))
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            first = min([node.lineno, *(one.lineno for one in node.decorator_list)])
            found[node.name, first] = node
    return found


def _definition(function: Callable[..., Any]) -> ast.FunctionDef:
    code: Any = function.__code__
    return _tree(code.co_filename)[code.co_name, code.co_firstlineno]


def _name(name: str) -> ast.Name:
    return ast.Name(name, ast.Load())


def _call(name: str, *given: ast.expr) -> ast.Call:
    return ast.Call(_name(name), list(given), [])


def _assign(name: str, value: ast.expr) -> ast.stmt:
    return ast.Assign([ast.Name(name, ast.Store())], value)


def _later(value: ast.expr) -> ast.Lambda:
    """A value that is asked for later, in the cases told then."""
    return ast.Lambda(ast.arguments([], [ast.arg(_LIVE)], None, [], [], None, []), value)


def _going() -> ast.expr:
    """The cases that go on."""
    return _call("_both", _name(_LIVE), _name(_MASK))


def _leaves(body: list[ast.stmt], kinds: tuple[type[ast.stmt], ...]) -> bool:
    """Whether statements may leave the block around them by one of these; `break` of an inner loop is its own."""
    for one in body:
        if isinstance(one, kinds):
            return True
        if isinstance(one, ast.If) and (_leaves(one.body, kinds) or _leaves(one.orelse, kinds)):
            return True
        if isinstance(one, ast.For | ast.While):
            inner = tuple(kind for kind in kinds if kind is ast.Return)
            if inner and _leaves(one.body, inner):
                return True
    return False


_ALL_EXITS: tuple[type[ast.stmt], ...] = (ast.Return, ast.Break, ast.Continue)


class _Expression(ast.NodeTransformer):
    """An expression over arrays."""

    def __init__(self, called: set[str]) -> None:
        self.called = called

    def visit_Subscript(self, node: ast.Subscript) -> ast.AST:
        self.generic_visit(node)
        return _call("_got", node.value, _index(node.slice))

    def visit_IfExp(self, node: ast.IfExp) -> ast.AST:
        self.generic_visit(node)
        asked = node.test
        return _call("_chosen", _name(_LIVE), _name(_MASK), asked, _later(node.body), _later(node.orelse))

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        self.generic_visit(node)
        name = "_all_of" if isinstance(node.op, ast.And) else "_any_of"
        found = node.values[-1]
        for one in reversed(node.values[:-1]):
            found = _call(name, _going(), one, _later(found))
        return found

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        return _call("_opposite", node.operand) if isinstance(node.op, ast.Not) else node

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        self.generic_visit(node)
        if len(node.ops) == 1:
            return node
        edges = [node.left, *node.comparators]
        pairs = [ast.Compare(a, [op], [b]) for a, op, b in zip(edges, node.ops, edges[1:], strict=False)]
        found: ast.expr = pairs[-1]
        for one in reversed(pairs[:-1]):
            found = _call("_all_of", _going(), one, _later(found))
        return found

    def visit_Call(self, node: ast.Call) -> ast.AST:
        self.generic_visit(node)
        if isinstance(node.func, ast.Name):
            if node.func.id in _CALLED:
                node.func = _name(_CALLED[node.func.id])
            elif node.func.id in self.called:
                node.args.insert(0, _going())
        return node


def _index(node: ast.expr) -> ast.expr:
    """A place of a table as a value: slices by name."""
    if isinstance(node, ast.Slice):
        parts = [one or ast.Constant(None) for one in (node.lower, node.upper, node.step)]
        return _call("slice", *parts)
    if isinstance(node, ast.Tuple):
        return ast.Tuple([_index(one) for one in node.elts], ast.Load())
    return node


class _Writer:
    """Writes a function over arrays: `_mask` is where it still goes on, of the cases with which it was called."""

    def __init__(self, called: set[str]) -> None:
        self.called, self.count = called, 0
        self.left: list[tuple[str, str]] = []
        """Of the loops around a statement: where cases that broke off and that skipped are noted."""

    def function(self, node: ast.FunctionDef) -> ast.FunctionDef:
        body = node.body[1:] if _is_text(node.body[0]) else node.body
        given = [one.arg for one in node.args.args]
        stored = [
            n.id for one in body for n in ast.walk(one) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
        ]
        unset = [name for name in dict.fromkeys(stored) if name not in given]
        start = [_assign(_MASK, ast.Constant(True)), _assign(_RESULT, ast.Constant(None))]
        start += [_assign(name, ast.Constant(None)) for name in unset]
        made = self.block(body, True)
        arguments = ast.arguments(
            [], [ast.arg(_LIVE), *(ast.arg(name) for name in given)], None, [], [], None, node.args.defaults
        )
        node.args, node.body = arguments, [*start, *made, ast.Return(_name(_RESULT))]
        node.decorator_list, node.returns = [], None
        return node

    def value(self, node: ast.expr) -> ast.expr:
        found: ast.expr = _Expression(self.called).visit(node)
        return found

    def fresh(self, word: str) -> str:
        self.count += 1
        return f"_{word}_{self.count}"

    def block(self, body: list[ast.stmt], whole: bool) -> list[ast.stmt]:
        """Statements in order; `whole`: the mask is surely that of all cases."""
        made: list[ast.stmt] = []
        for k, one in enumerate(body):
            made += self.statement(one, whole)
            if isinstance(one, ast.Return | ast.Break | ast.Continue):
                break
            if _leaves([one], _ALL_EXITS) and k + 1 < len(body):
                rest = self.block(body[k + 1 :], False)
                asked = _call("_opposite", _call("_nowhere", _name(_LIVE), _name(_MASK)))
                return [*made, ast.If(asked, rest, [])]
        return made

    def statement(self, node: ast.stmt, whole: bool) -> list[ast.stmt]:
        if isinstance(node, ast.Assign):
            (target,) = node.targets if len(node.targets) == 1 else (None,)
            if target is None:
                name = self.fresh("value")
                made = [_assign(name, self.value(node.value))]
                return made + [s for one in node.targets for s in self.store(one, _name(name), whole)]
            return self.store(target, self.value(node.value), whole)
        if isinstance(node, ast.AugAssign):
            read = _loaded(node.target)
            return self.store(node.target, self.value(ast.BinOp(read, node.op, node.value)), whole)
        if isinstance(node, ast.If):
            return self.branch(node)
        if isinstance(node, ast.For | ast.While):
            return self.loop(node, whole)
        if isinstance(node, ast.Return):
            value = ast.Constant(None) if node.value is None else self.value(node.value)
            kept = _call("_into", _name(_MASK), value, _name(_RESULT))
            return [_assign(_RESULT, kept), _assign(_MASK, ast.Constant(False))]
        if isinstance(node, ast.Expr):
            return [ast.Expr(self.value(node.value))]
        if isinstance(node, ast.Break | ast.Continue):
            name = self.left[-1][isinstance(node, ast.Continue)]
            return [_assign(name, _call("_either", _name(name), _name(_MASK))), _assign(_MASK, ast.Constant(False))]
        raise TypeError(f"the body of a march holds no {type(node).__name__}: {ast.unparse(node)}")

    def store(self, target: ast.expr, value: ast.expr, whole: bool) -> list[ast.stmt]:
        """Put a value where it belongs, in the cases that go on."""
        if isinstance(target, ast.Name):
            if not whole:
                value = _call("_into", _name(_MASK), value, _name(target.id))
            return [_assign(target.id, value)]
        if isinstance(target, ast.Subscript):
            place = [self.value(target.value), _index(self.value(target.slice))]
            return [ast.Expr(_call("_put", _name(_LIVE), _name(_MASK), *place, value))]
        assert isinstance(target, ast.Tuple)
        name = self.fresh("value")
        made = [_assign(name, value)]
        for k, one in enumerate(target.elts):
            made += self.store(one, ast.Subscript(_name(name), ast.Constant(k), ast.Load()), whole)
        return made

    def branch(self, node: ast.If) -> list[ast.stmt]:
        yes, no, before = self.fresh("yes"), self.fresh("no"), self.fresh("before")
        asked = _call("_split", _name(_LIVE), _name(_MASK), self.value(node.test))
        pair = ast.Tuple([ast.Name(yes, ast.Store()), ast.Name(no, ast.Store())], ast.Store())
        made: list[ast.stmt] = [_assign(before, _name(_MASK)), ast.Assign([pair], asked)]
        for side, body in ((yes, node.body), (no, node.orelse)):
            if not body:
                continue
            inner = [_assign(_MASK, _name(side)), *self.block(body, False), _assign(side, _name(_MASK))]
            going = ast.Compare(_name(side), [ast.IsNot()], [ast.Constant(False)])
            made.append(ast.If(going, inner, []))
        leaves = _leaves([node], _ALL_EXITS)
        return [*made, _assign(_MASK, _call("_either", _name(yes), _name(no)) if leaves else _name(before))]

    def loop(self, node: ast.For | ast.While, whole: bool) -> list[ast.stmt]:
        if isinstance(node, ast.For) and not _leaves(node.body, _ALL_EXITS):
            return [ast.For(node.target, self.value(node.iter), self.block(node.body, whole), [])]
        broken, skipped = self.fresh("broken"), self.fresh("skipped")
        self.left.append((broken, skipped))
        body = self.block(node.body, False)
        self.left.pop()
        stop: list[ast.stmt] = [ast.If(_call("_nowhere", _name(_LIVE), _name(_MASK)), [ast.Break()], [])]
        made: list[ast.stmt] = [_assign(broken, ast.Constant(False))]
        if isinstance(node, ast.While):
            yes, no = self.fresh("yes"), self.fresh("no")
            asked = _call("_split", _name(_LIVE), _name(_MASK), self.value(node.test))
            pair = ast.Tuple([ast.Name(yes, ast.Store()), ast.Name(no, ast.Store())], ast.Store())
            more = _call("_either", _name(broken), _name(no))
            body = [ast.Assign([pair], asked), _assign(broken, more), _assign(_MASK, _name(yes)), *stop, *body]
            return [*made, ast.While(ast.Constant(True), body, []), _assign(_MASK, _name(broken))]
        body = [_assign(skipped, ast.Constant(False)), *body]
        body += [_assign(_MASK, _call("_either", _name(_MASK), _name(skipped))), *stop]
        end = _assign(_MASK, _call("_either", _name(_MASK), _name(broken)))
        return [*made, ast.For(node.target, self.value(node.iter), body, []), end]


def _is_text(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


def _loaded(node: ast.expr) -> ast.expr:
    """The same place as something that is read."""
    return ast.parse(ast.unparse(node), mode="eval").body
