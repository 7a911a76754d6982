"""Mutations of Python source: small changes that a test should notice. `mutants.py` draws from them and runs the tests.

Each mutation replaces one stretch of the text, so the rest of the file stays letter for letter. Left alone are: words
(docstrings, messages, what a `raise` says), annotations, decorators, imports, assertions and f-strings.

A mutation is named by where it is and what it does, never by its line number. So a seed draws the same ones wherever
the code did not change.
"""

from __future__ import annotations

import ast
import hashlib
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

LARGE = 1000  # from here on a number is doubled: one nanosecond more of a second is nothing that a test should see

_COMPARE = {
    ast.Lt: ("<", "<="), ast.LtE: ("<=", "<"), ast.Gt: (">", ">="), ast.GtE: (">=", ">"), ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="), ast.Is: ("is", "is not"), ast.IsNot: (r"is\s+not", "is"), ast.In: ("in", "not in"),
    ast.NotIn: (r"not\s+in", "in"),
}  # fmt: skip
_ARITHMETIC = {
    ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "//"), ast.FloorDiv: ("//", "*"), ast.Div: ("/", "*"),
    ast.Mod: ("%", "//"), ast.LShift: ("<<", ">>"), ast.RShift: (">>", "<<"), ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"), ast.BitXor: ("^", "&"), ast.Pow: ("**", "*"),
}  # fmt: skip
_PATTERNS = {r"is\s+not", r"not\s+in"}


@dataclass(frozen=True, slots=True)
class Mutation:
    """One change: bytes `start` to `end` of `path` become `text`.

    `before` and `after` show the expression or statement around it; `nth` counts equal ones in one function.
    """

    path: str  # from the top of the project
    function: str  # dotted; "" for the module itself
    kind: str
    before: str
    after: str
    nth: int
    line: int
    end_line: int
    start: int
    end: int
    text: str

    @property
    def name(self) -> str:
        """The name of the mutation, which stays the same while other code changes."""
        return f"{self.path}::{self.function}::{self.kind}::{self.before} -> {self.after}::{self.nth}"

    def rank(self, seed: int) -> bytes:
        """Its place in the draw of a seed."""
        return hashlib.sha256(f"{seed} {self.name}".encode()).digest()

    def apply(self, source: bytes) -> bytes:
        """The source with this change."""
        return source[: self.start] + self.text.encode() + source[self.end :]


class _Finder:
    """Walks one module and collects its mutations."""

    def __init__(self, path: str, source: bytes) -> None:
        self.path = path
        self.source = source
        self.lines = [0]  # offset in bytes at which each line begins
        for line in source.splitlines(keepends=True):
            self.lines.append(self.lines[-1] + len(line))
        self.found: list[Mutation] = []
        self.seen: Counter[tuple[str, str, str, str]] = Counter()
        self.functions: list[str] = []

    @property
    def constructing(self) -> bool:
        """Whether an attribute that is not set here is missing ever after, which any test notices."""
        return self.functions[-1:] in (["__init__"], ["__post_init__"])

    def start(self, node: ast.expr | ast.stmt) -> int:
        return self.lines[node.lineno - 1] + node.col_offset

    def end(self, node: ast.expr | ast.stmt) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self.lines[node.end_lineno - 1] + node.end_col_offset

    def text(self, node: ast.expr | ast.stmt) -> str:
        return self.source[self.start(node) : self.end(node)].decode()

    def add(self, kind: str, start: int, end: int, after: str, context: ast.expr | ast.stmt) -> None:
        """`context`: what is shown, and what names the mutation, beside the text that changes."""
        shown = self.start(context)
        before = " ".join(self.text(context).split())
        changed = self.source[shown:start].decode() + after + self.source[end : self.end(context)].decode()
        key = (".".join(self.functions), kind, before, " ".join(changed.split()))
        self.seen[key] += 1
        line = self.source.count(b"\n", 0, start) + 1
        end_line = self.source.count(b"\n", 0, end) + 1
        self.found.append(Mutation(self.path, *key, self.seen[key], line, end_line, start, end, after))

    def between(
        self, kind: str, left: ast.expr, right: ast.expr, change: tuple[str, str], context: ast.expr | ast.stmt
    ) -> None:
        """Replaces the operator that stands between two operands."""
        first, last = self.end(left), self.start(right)
        was, after = change
        pattern = was if was in _PATTERNS else re.escape(was)
        place = re.search(pattern, self.source[first:last].decode())
        if place:
            offset = len(self.source[first:last].decode()[: place.start()].encode())
            self.add(kind, first + offset, first + offset + len(place.group().encode()), after, context)

    # -- what is visited --------------------------------------------------------------------------------------------

    def visit(self, node: ast.AST) -> None:
        match node:
            case ast.FunctionDef() | ast.AsyncFunctionDef():
                self.functions.append(node.name)
                self.visit_all([*node.args.defaults, *(each for each in node.args.kw_defaults if each)])
                self.visit_all(node.body)
                self.functions.pop()
                return
            case ast.ClassDef():
                self.functions.append(node.name)
                self.visit_all(node.body)
                self.functions.pop()
                return
            case ast.Import() | ast.ImportFrom() | ast.Assert() | ast.JoinedStr():
                return
            case ast.Raise():
                self.add("remove", self.start(node), self.end(node), "pass", node)
                return
            case ast.Expr(value=ast.Constant()):
                return  # a docstring, or `...`
            case ast.Assign() if any(getattr(target, "id", "") in ("__all__", "__slots__") for target in node.targets):
                return
            case ast.AnnAssign():
                self.visit_all([node.value] if node.value else [])
                return
            case ast.If(test=ast.Name(id="TYPE_CHECKING")):
                return
        self.mutate(node)
        for child in ast.iter_child_nodes(node):
            if not (isinstance(node, ast.arg) and child is node.annotation):
                self.visit(child)

    def visit_all(self, nodes: Iterable[ast.AST]) -> None:
        for node in nodes:
            self.visit(node)

    def mutate(self, node: ast.AST) -> None:
        match node:
            case ast.Compare():
                operands = [node.left, *node.comparators]
                for operator, left, right in zip(node.ops, operands, node.comparators, strict=False):
                    self.between("comparison", left, right, _COMPARE[type(operator)], node)
            case ast.BoolOp():
                change = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
                for left, right in zip(node.values, node.values[1:], strict=False):
                    self.between("and-or", left, right, change, node)
            case ast.BinOp() if not _is_text(node.left) and not _is_text(node.right):
                if type(node.op) in _ARITHMETIC:
                    self.between("arithmetic", node.left, node.right, _ARITHMETIC[type(node.op)], node)
            case ast.AugAssign() if type(node.op) in _ARITHMETIC and not _is_text(node.value):
                self.between("arithmetic", node.target, node.value, _ARITHMETIC[type(node.op)], node)
            case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert()):
                length = len("not") if isinstance(node.op, ast.Not) else 1
                self.add("sign", self.start(node), self.start(node) + length, "", node)
            case ast.Constant():
                for after in _other_values(node.value):
                    self.add("value", self.start(node), self.end(node), after, node)
            case ast.Return() if node.value is not None and not _is_none(node.value):
                self.add("return", self.start(node.value), self.end(node.value), "None", node)
            case ast.Expr(value=ast.Call()) | ast.Delete() | ast.Continue() | ast.Break():
                self.add("remove", self.start(node), self.end(node), "pass", node)
            case ast.Assign() if not self.constructing and all(
                isinstance(target, ast.Attribute | ast.Subscript) for target in node.targets
            ):
                self.add("remove", self.start(node), self.end(node), "pass", node)
        if isinstance(node, ast.AugAssign):
            self.add("remove", self.start(node), self.end(node), "pass", node)
        if isinstance(node, ast.If | ast.While | ast.IfExp) and not isinstance(node.test, ast.Constant):
            test = self.text(node.test)
            self.add("condition", self.start(node.test), self.end(node.test), f"not ({test})", node.test)
        if isinstance(node, ast.comprehension):
            for test_node in node.ifs:
                test = self.text(test_node)
                self.add("condition", self.start(test_node), self.end(test_node), f"not ({test})", test_node)


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str | bytes))


def _is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _other_values(value: object) -> list[str]:
    match value:
        case bool():
            return [repr(not value)]
        case int() if value >= LARGE:
            return [str(2 * value)]
        case int():
            return [str(value + 1), str(value - 1)] if value else ["1"]
        case float():
            return [repr(2 * value or 1.0)]
    return []


def mutations(top: Path, path: Path) -> list[Mutation]:
    """Every mutation of one module, in the order of its text. `path` lies under `top`."""
    source = path.read_bytes()
    finder = _Finder(path.relative_to(top).as_posix(), source)
    finder.visit_all(ast.parse(source).body)
    return finder.found


def of_packages(top: Path, packages: Iterable[str]) -> list[Mutation]:
    """Every mutation of the modules in these folders, or of these files."""
    paths = [top / name for name in packages]
    files = [file for path in paths for file in (sorted(path.rglob("*.py")) if path.is_dir() else [path])]
    return [mutation for file in files for mutation in mutations(top, file)]


def meaning(path: Path) -> str:
    """A mark of what a module does: the same whatever its comments and docstrings say."""
    tree = ast.parse(path.read_bytes())
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            node.value = ast.Constant(None)
    return hashlib.sha256(ast.dump(tree).encode()).hexdigest()[:16]


def draw(found: list[Mutation], seed: int, count: int) -> list[Mutation]:
    """`count` of these, the same ones wherever their own code is the same."""
    return sorted(found, key=lambda mutation: mutation.rank(seed))[:count]
