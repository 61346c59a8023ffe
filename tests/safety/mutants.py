"""Small wrong changes to a module, one at a time: what a slip of the hand could do to the guard."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

ROOM = Path(__file__).parents[2] / "safety"

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
TWINS = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Mutant:
    module: str
    name: str  # where and what, without line numbers, so that it survives edits elsewhere
    index: int  # of the changed node, in walking order
    other: ast.AST  # what stands in its place

    @property
    def source(self) -> str:
        """The module with this one change in it."""
        tree = ast.parse(text_of(self.module))
        victim = next(islice(ast.walk(tree), self.index, None))
        for parent in ast.walk(tree):
            for field, value in ast.iter_fields(parent):
                if value is victim:
                    setattr(parent, field, self.other)
                elif isinstance(value, list):
                    value[:] = [self.other if item is victim else item for item in value]
        return ast.unparse(ast.fix_missing_locations(tree))


def text_of(module: str) -> str:
    return (ROOM / f"{module}.py").read_text(encoding="utf-8")


def modules() -> list[str]:
    return sorted(path.stem for path in ROOM.glob("*.py") if path.stem != "__init__")


def mutants(module: str) -> list[Mutant]:
    """All mutants of one module; equal names are numbered."""
    tree = ast.parse(text_of(module))
    told, scopes = annotations(tree), scopes_of(tree)
    names: dict[str, int] = {}
    made: list[Mutant] = []
    for index, node in enumerate(ast.walk(tree)):
        if node in told:
            continue
        for change, other in changed(node):
            name = f"{module}{scopes[node]}: {change}"
            names[name] = names.get(name, 0) + 1
            number = f" ({names[name]})" if names[name] > 1 else ""
            made.append(Mutant(module, name + number, index, other))
    return made


def annotations(tree: ast.Module) -> set[ast.AST]:
    """Types are for the type checker: changing one changes nothing that runs."""
    found: set[ast.AST] = set()
    for node in ast.walk(tree):
        for field in ("annotation", "returns"):
            told = getattr(node, field, None)
            found |= set(ast.walk(told)) if told is not None else set()
    return found


def scopes_of(tree: ast.Module) -> dict[ast.AST, str]:
    """The functions and classes around every node, as `.name.name`."""
    scopes: dict[ast.AST, str] = {tree: ""}
    for node in ast.walk(tree):  # parents come before their children
        inside = f".{node.name}" if isinstance(node, ast.FunctionDef | ast.ClassDef) else ""
        for child in ast.iter_child_nodes(node):
            # Nodes without a place of their own (Load, Lt, …) are shared between parents; none is changed.
            scopes[child] = scopes[node] + inside
    return scopes


def changed(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """What may be wrong about one node: a description and the node to put in its place."""
    for other in _variants(node):
        yield f"`{short(node)}` becomes `{short(other)}`", other


def short(node: ast.AST, most: int = 90) -> str:
    text = " ".join(ast.unparse(node).split())
    return text if len(text) <= most else f"{text[: most // 2]} … {text[-most // 2 :]}"


def _variants(node: ast.AST) -> Iterator[ast.AST]:
    match node:
        case ast.Compare(left, ops, comparators):
            for at, op in enumerate(ops):
                for kind in COMPARISONS[type(op)]:
                    yield ast.Compare(left, [*ops[:at], kind(), *ops[at + 1 :]], comparators)
        case ast.BoolOp(op, values):
            yield ast.BoolOp(ast.And() if isinstance(op, ast.Or) else ast.Or(), values)
            for at in range(len(values)):
                rest = values[:at] + values[at + 1 :]
                yield rest[0] if len(rest) == 1 else ast.BoolOp(op, rest)
        case ast.UnaryOp(ast.Not() | ast.USub(), operand):
            yield operand
        case ast.BinOp(left, op, right) if type(op) in OPERATORS:
            yield ast.BinOp(left, OPERATORS[type(op)](), right)
        case ast.Constant(bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(int() | float() as value):
            yield ast.Constant(value + 1)
            if value:
                yield ast.Constant(0)
        case ast.Call(ast.Name(name), args, keywords) if name in TWINS:
            yield ast.Call(ast.Name(TWINS[name]), args, keywords)
        case ast.Call(ast.Name("abs"), [inner], []):
            yield inner
        case ast.Call(function, args, keywords) if ast.unparse(function) == "replace":
            for at in range(len(keywords)):
                yield ast.Call(function, args, keywords[:at] + keywords[at + 1 :])
        case ast.Dict(keys, values) if len(keys) > 1:
            for at in range(len(keys)):
                yield ast.Dict(keys[:at] + keys[at + 1 :], values[:at] + values[at + 1 :])
        case ast.IfExp(_, body, orelse):
            yield body
            yield orelse
        case ast.Return(ast.expr() as value) if not _is_none(value):
            yield ast.Return(ast.Constant(None))
        case ast.Expr(ast.Yield() | ast.YieldFrom() as value):
            yield ast.Expr(ast.YieldFrom(ast.Tuple([], ast.Load())))
            del value
        case _:
            return


def _is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None
