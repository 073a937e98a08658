"""An error of a service names a parameter that its caller passed.

The code of every service module is read, not run. A name is right where it is a parameter of a
public function of the module, or a field of a dataclass (or named tuple, or typed dictionary) that
such a function takes. Within a list it is `lines.<position>.<field>`; rows without named fields,
such as pairs, may call theirs as they like. Names that only the running program makes up are left
out.
"""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
# What a class that only carries values is decorated with or derived from.
RECORDS = ("dataclass", "NamedTuple", "TypedDict")
# Stands for the part of a name that differs from call to call, as the position in a list.
ANY = "*"

SERVICE_MODULES = sorted(
    path.relative_to(ROOT).as_posix()
    for package in ("inventory", "apiary_sales")
    for path in (ROOT / package).rglob("*.py")
    if path.name == "services.py" or path.parent.name == "services"
)

Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def code_of_the_house() -> list[ast.Module]:
    return [
        tree_of(path)
        for package in ("inventory", "apiary_sales")
        for path in (ROOT / package).rglob("*.py")
        if "migrations" not in path.parts
    ]


@cache
def records() -> dict[str, set[str]]:
    """Return the fields of every class that only carries values, by its name."""
    found: dict[str, set[str]] = {}
    for tree in code_of_the_house():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and _is_record(node):
                found.setdefault(node.name, set()).update(
                    row.target.id
                    for row in node.body
                    if isinstance(row, ast.AnnAssign) and isinstance(row.target, ast.Name)
                )
    return found


def _is_record(node: ast.ClassDef) -> bool:
    told = [*node.decorator_list, *node.bases]
    return any(word in ast.unparse(each) for each in told for word in RECORDS)


@cache
def takers() -> dict[str, list[str]]:
    """Return the parameters, in order, of the functions that are told which parameter is wrong."""
    return {
        node.name: [each.arg for each in node.args.posonlyargs + node.args.args]
        for tree in code_of_the_house()
        for node in tree.body
        if isinstance(node, Function) and any(map(_tells, _parameters(node)))
    }


def _tells(name: str) -> bool:
    """Say whether something of this name holds the name of a parameter."""
    return name == "parameter" or name.endswith("_parameter")


def _parameters(function: Function) -> list[str]:
    arguments = function.args
    return [each.arg for each in arguments.posonlyargs + arguments.args + arguments.kwonlyargs]


def may_be_named(tree: ast.Module) -> dict[str, set[str]]:
    """Return the parameters of a module's public functions, with the fields of what they take."""
    found: dict[str, set[str]] = {}
    for node in tree.body:
        if not isinstance(node, Function) or node.name.startswith("_"):
            continue
        arguments = node.args
        for each in arguments.posonlyargs + arguments.args + arguments.kwonlyargs:
            found.setdefault(each.arg, set()).update(_fields(each.annotation))
        if arguments.kwarg:
            found.update({name: set() for name in _fields(arguments.kwarg.annotation)})
    return found


def _fields(annotation: ast.expr | None) -> set[str]:
    """Return the fields of the records that an annotation speaks of."""
    words = ast.walk(annotation) if annotation else ()
    names = (getattr(word, "attr", getattr(word, "id", "")) for word in words)
    return set().union(*(records().get(name, set()) for name in names))


def is_right(name: str, known: dict[str, set[str]]) -> bool:
    first, *rest = name.split(".")
    if not rest:
        return first in known or any(first in fields for fields in known.values())
    return first in known and (not known[first] or rest[-1] in known[first] | {ANY})


def names_told(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Yield the line and the name wherever a module says which parameter is wrong."""
    functions = [node for node in ast.walk(tree) if isinstance(node, Function)]
    makers = dict(makers_of_the_house())
    for function in functions:
        makers.pop(function.name, None)
    makers.update(_makers(tree))
    for function in functions:
        for parameter, default in _defaults(function):
            if _tells(parameter):
                yield from ((default.lineno, name) for name in _values(default, function, makers))
        for call in ast.walk(function):
            if isinstance(call, ast.Call):
                for told in _told_in(call):
                    yield from ((told.lineno, name) for name in _values(told, function, makers))


def _defaults(function: Function) -> Iterator[tuple[str, ast.expr]]:
    arguments = function.args
    positional = arguments.posonlyargs + arguments.args
    last = positional[len(positional) - len(arguments.defaults) :]
    for each, default in zip(last, arguments.defaults, strict=True):
        yield each.arg, default
    for each, default in zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True):
        if default is not None:
            yield each.arg, default


def _told_in(call: ast.Call) -> Iterator[ast.expr]:
    for keyword in call.keywords:
        if keyword.arg and _tells(keyword.arg):
            yield keyword.value
    callee = call.func
    if isinstance(callee, ast.Attribute) and callee.attr == "add":
        if ast.unparse(callee.value).endswith("problems") and call.args:
            yield call.args[0]
        return
    for parameter, argument in zip(takers().get(_called(call), []), call.args, strict=False):
        if _tells(parameter):
            yield argument


def _called(call: ast.Call) -> str:
    """Return the name of what is called, without its module."""
    return getattr(call.func, "attr", getattr(call.func, "id", ""))


@cache
def makers_of_the_house() -> dict[str, Function]:
    return {name: node for tree in code_of_the_house() for name, node in _makers(tree).items()}


def _makers(tree: ast.Module) -> dict[str, Function]:
    """Return the functions that put a name together: `lines.0.pieces` of 0 and `pieces`."""
    return {
        node.name: node
        for node in tree.body
        if isinstance(node, Function) and _path(node) is not None
    }


def _path(function: Function) -> ast.JoinedStr | None:
    """Return the f-string of a function that does no more than put a name together."""
    last = function.body[-1]
    value = last.value if isinstance(last, ast.Return) else None
    return value if isinstance(value, ast.JoinedStr) and len(function.body) <= 2 else None


def _values(
    node: ast.expr, function: Function, makers: dict[str, Function], *, look_up: bool = True
) -> set[str]:
    """Return the texts that an expression can be, as far as the code says them.

    A local name is looked up once: names set from one another may go round in circles.
    """
    if isinstance(node, ast.Constant):
        return {node.value} if isinstance(node.value, str) else set()
    if isinstance(node, ast.IfExp):
        either = (node.body, node.orelse)
        return set().union(*(_values(each, function, makers, look_up=look_up) for each in either))
    if isinstance(node, ast.JoinedStr):
        return {_joined(node, {})}
    if isinstance(node, ast.Call) and (maker := makers.get(_called(node))):
        given = {
            parameter: str(argument.value)
            for parameter, argument in zip(_parameters(maker), node.args, strict=False)
            if isinstance(argument, ast.Constant)
        }
        return {_joined(_path(maker), given)}
    if isinstance(node, ast.Name) and look_up:
        bound = _bound(node.id, function)
        return set().union(*(_values(each, function, makers, look_up=False) for each in bound))
    return set()


def _joined(text: ast.JoinedStr, given: dict[str, str]) -> str:
    return "".join(
        str(part.value)
        if isinstance(part, ast.Constant)
        else given.get(ast.unparse(part.value), ANY)
        for part in text.values
    )


def _bound(name: str, function: Function) -> Iterator[ast.expr]:
    """Yield what a local name is set to: by assignment, or by a loop over a written-out list."""
    for node in ast.walk(function):
        if isinstance(node, ast.Assign):
            for target in node.targets:
                yield from _pairs(target, node.value, name)
        elif isinstance(node, ast.For) and isinstance(node.iter, ast.Tuple | ast.List):
            for row in node.iter.elts:
                yield from _pairs(node.target, row, name)


def _pairs(target: ast.expr, value: ast.expr, name: str) -> Iterator[ast.expr]:
    if isinstance(target, ast.Name) and target.id == name:
        yield value
    elif isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        for inner, each in zip(target.elts, value.elts, strict=False):
            yield from _pairs(inner, each, name)


def faults(tree: ast.Module) -> list[str]:
    known = may_be_named(tree)
    return sorted(
        {f"line {line}: {name}" for line, name in names_told(tree) if not is_right(name, known)}
    )


@pytest.mark.parametrize("module", SERVICE_MODULES)
def test_an_error_names_a_parameter_of_the_service(module):
    assert faults(tree_of(ROOT / module)) == []


def test_the_names_that_services_tell_are_found():
    told = [name for module in SERVICE_MODULES for _, name in names_told(tree_of(ROOT / module))]

    assert len(told) > 100


SERVICE = '''
@dataclass(frozen=True)
class Row:
    pieces: int

def sell(
    *, customer: str, lines: Sequence[Row], pairs: Sequence[tuple[str, int]], details: Row | None
) -> None:
    """Sell."""
    for number, row in enumerate(lines):
        _check(problems, number, row)
    for name, value in (("customer", customer), ("buyer", customer)):
        problems.add(name, "Say who it is.")
    raise BadValue("No", parameter="amount" if details else "lines")

def _at(index, name):
    return f"lines.{index}.{name}"

def change(**rest: Unpack[Changes]) -> None:
    problems.add("note", "Say why.")

def _check(problems, number, row, parameter: str = "row", *, place_parameter: str = "place"):
    problems.add(_at(number, "pieces"), "Enter one or more.")
    problems.add(_at(number, "quantity"), "Enter one or more.")
    problems.add(f"pieces_{number}", "Enter one or more.")
    problems.add("pieces", "Enter one or more.")
    problems.add("pairs.0.pieces", "Enter one or more.")
    problems.add("rows.0.pieces", "Enter one or more.")
    problems.add(None, "It is empty.")
'''


def test_a_name_that_is_no_parameter_is_found_however_it_is_told(monkeypatch):
    tree = ast.parse(SERVICE)
    monkeypatch.setitem(records(), "Row", {"pieces"})
    monkeypatch.setitem(records(), "Changes", {"note"})

    assert [fault.split(": ")[1] for fault in faults(tree)] == [
        "buyer",
        "amount",
        "place",
        "row",
        "lines.*.quantity",
        "pieces_*",
        "rows.0.pieces",
    ]
