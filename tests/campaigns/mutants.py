r"""Small untruths put into a module, one at a time: what a programmer's slip would look like.

A mutant is a stretch of the source and what is put in its place, nothing else of the file is touched. Left alone are
docstrings, annotations, decorators, and what people read (texts and what is set into them): a test of every word would
only say the words twice.

>>> for each in mutants("def f(a, b):\n    return a < b + 1\n"): print(each.line, each.old, "->", each.new)
2 return a < b + 1 -> return None
2 a < b + 1 -> a <= b + 1
2 a < b + 1 -> a >= b + 1
2 b + 1 -> b - 1
2 1 -> 0
2 1 -> 2
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass

COMPARED: dict[type[ast.cmpop], tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">=")),
    ast.LtE: ("<=", ("<", ">")),
    ast.Gt: (">", (">=", "<=")),
    ast.GtE: (">=", (">", "<")),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
}
RECKONED: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "*"),
    ast.Mod: ("%", "*"),
    ast.BitAnd: ("&", "|"),
    ast.BitXor: ("^", "&"),
    ast.LShift: ("<<", ">>"),
    ast.RShift: (">>", "<<"),
}
CALLED = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"}


@dataclass(frozen=True)
class Mutant:
    """What stands at `start` to `end` (bytes of the source), and what is put there; `text` is its line, stripped."""

    line: int
    text: str
    old: str
    new: str
    start: int
    end: int

    def within(self, source: str) -> str:
        """Give the source with this mutant in it."""
        raw = source.encode()
        return (raw[: self.start] + self.new.encode() + raw[self.end :]).decode()


def mutants(source: str) -> list[Mutant]:
    """Give every mutant of a module's source that compiles, in the order of the source."""
    found = {(each.start, each.end, each.new): each for each in _Finder(source).at(ast.parse(source))}
    return sorted(
        (each for each in found.values() if _compiles(each.within(source))), key=lambda at: (at.line, at.start)
    )


def _compiles(source: str) -> bool:
    try:
        compile(source, "mutant", "exec", dont_inherit=True)
    except SyntaxError:
        return False
    return True


class _Finder:
    def __init__(self, source: str) -> None:
        self._raw = source.encode()
        self._lines = self._raw.splitlines(keepends=True)
        self._starts = [0]
        for line in self._lines:
            self._starts.append(self._starts[-1] + len(line))

    def at(self, node: ast.AST) -> Iterator[Mutant]:
        """Give the mutants of a node and of all in it."""
        yield from self._own(node)
        for name, value in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list") or isinstance(node, ast.JoinedStr):
                continue
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    yield from self.at(child)

    def _own(self, node: ast.AST) -> Iterator[Mutant]:
        match node:
            case ast.Compare():
                sides = [node.left, *node.comparators]
                for left, kind, right in zip(sides, node.ops, sides[1:], strict=False):
                    old, others = COMPARED[type(kind)]
                    for new in others:
                        yield from self._between(node, left, right, old, new)
            case ast.BinOp() if type(node.op) in RECKONED and not _a_text(node):
                yield from self._between(node, node.left, node.right, *RECKONED[type(node.op)])
            case ast.BoolOp():
                old, new = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
                for left, right in zip(node.values, node.values[1:], strict=False):
                    yield from self._between(node, left, right, old, new)
            case ast.UnaryOp(op=ast.Not() | ast.USub()):
                yield self._put(node, self._text(node.operand))
            case ast.If() | ast.While() | ast.IfExp():
                yield self._put(node.test, f"(not ({self._text(node.test)}))")
            case ast.comprehension():
                for test in node.ifs:
                    yield self._put(test, f"(not ({self._text(test)}))")
            case ast.Constant(value=bool()):
                yield self._put(node, str(not node.value))
            case ast.Constant(value=int()):
                yield self._put(node, str(node.value - 1))
                yield self._put(node, str(node.value + 1))
            case ast.Constant(value=float()):
                yield self._put(node, repr(node.value * 1.25 + (node.value == 0)))
            case ast.Call(func=ast.Name(id=name) | ast.Attribute(attr=name)) if name in CALLED:
                called = self._text(node.func)
                yield self._put(node.func, called.removesuffix(name) + CALLED[name])
            case ast.Return(value=ast.expr() as value) if self._text(value) not in ("None", "False"):
                yield self._put(node, "return None")
            case ast.Break():
                yield self._put(node, "continue")
            case ast.Continue():
                yield self._put(node, "break")
            case ast.AugAssign() | ast.Raise() | ast.Delete():
                yield self._put(node, "pass")
            case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
                yield self._put(node, "pass")
            case ast.Expr(value=value) if not isinstance(value, ast.Constant):
                yield self._put(node, "pass")

    def _between(self, whole: ast.expr, left: ast.expr, right: ast.expr, old: str, new: str) -> Iterator[Mutant]:
        """Give the mutant with another operator between two operands."""
        first, last = self._span(left)[1], self._span(right)[0]
        gap = self._raw[first:last].decode()
        if "#" in gap:
            return
        start, end = self._span(whole)
        changed = self._raw[start:first].decode() + gap.replace(old, new, 1) + self._raw[last:end].decode()
        yield self._put(whole, changed)

    def _put(self, node: ast.expr | ast.stmt, new: str) -> Mutant:
        start, end = self._span(node)
        text = self._lines[node.lineno - 1].decode().strip()
        return Mutant(node.lineno, text, self._raw[start:end].decode(), new, start, end)

    def _span(self, node: ast.expr | ast.stmt) -> tuple[int, int]:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        first, last = self._starts[node.lineno - 1], self._starts[node.end_lineno - 1]
        return first + node.col_offset, last + node.end_col_offset

    def _text(self, node: ast.expr) -> str:
        start, end = self._span(node)
        return self._raw[start:end].decode()


def _a_text(node: ast.BinOp) -> bool:
    """Tell whether an operator puts texts together; what it would be otherwise only raises."""
    return any(
        isinstance(side, ast.JoinedStr) or (isinstance(side, ast.Constant) and isinstance(side.value, str | bytes))
        for side in (node.left, node.right)
    )
