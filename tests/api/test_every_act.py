"""Every act of the services has an address in the API, or a reason why it has none.

An act is a public function of a service that writes, and that a page or a command calls. What only
other services call is a part of their acts.
"""

import ast
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent.parent

IN_THE_BROWSER = "A person proves who they are in a browser, before any program has a right."
AT_THE_MACHINE = "Whoever runs the machine does this there, beside the service or while it is down."
BY_THE_WORKER = "The address of backups asks the worker, which makes and rehearses one."
BY_ITSELF = "Nobody asks for this: the service does it by itself when the time has come."
NOT_BY_A_TOKEN = "A token alone must not change how its person signs in: that takes a browser."
IN_THE_FORM = "A form of a page is kept in the transaction of its act; the API keeps its answers."
PHONE_OF_THE_STAND = "A shared phone at the stand asks who sells; a program signs in as somebody."

WITHOUT_ADDRESS = {
    "apiary_sales.accounts.services.first_owner.make_code": AT_THE_MACHINE,
    "apiary_sales.accounts.services.first_owner.forget_code": AT_THE_MACHINE,
    "apiary_sales.accounts.services.first_owner.add": IN_THE_BROWSER,
    "apiary_sales.accounts.services.lost_passwords.ask": IN_THE_BROWSER,
    "apiary_sales.accounts.services.passkeys.add": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.passkeys.check": IN_THE_BROWSER,
    "apiary_sales.accounts.services.passkeys.remove": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.people.end_access": AT_THE_MACHINE,
    "apiary_sales.accounts.services.people.has_chosen_password": IN_THE_BROWSER,
    "apiary_sales.accounts.services.pins.check_pin": PHONE_OF_THE_STAND,
    "apiary_sales.accounts.services.second_steps.check": IN_THE_BROWSER,
    "apiary_sales.accounts.services.second_steps.forget_devices": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.second_steps.move": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.second_steps.remove": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.second_steps.renew_codes": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.second_steps.require": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.second_steps.set_up": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.second_steps.switch_off": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.sessions.note_seen": BY_ITSELF,
    "apiary_sales.accounts.services.sign_ins.check": IN_THE_BROWSER,
    "apiary_sales.accounts.services.sign_ins.confirm": IN_THE_BROWSER,
    "apiary_sales.accounts.services.sign_ins.note_wrong_code": IN_THE_BROWSER,
    "apiary_sales.accounts.services.tokens.end_all": NOT_BY_A_TOKEN,
    "apiary_sales.accounts.services.tokens.note_recorded": BY_ITSELF,
    "apiary_sales.billing.services.account_months.rebuild": AT_THE_MACHINE,
    "apiary_sales.finding.services.index.rebuild": AT_THE_MACHINE,
    "apiary_sales.keeping.services.backups.make": BY_THE_WORKER,
    "apiary_sales.keeping.services.backups.rehearse": BY_THE_WORKER,
    "apiary_sales.keeping.services.health.is_well": "It changes no row: /health/ answers with it.",
    "apiary_sales.keeping.services.machines.check": AT_THE_MACHINE,
    "apiary_sales.keeping.services.machines.serving": AT_THE_MACHINE,
    "apiary_sales.keeping.services.restoring.restore": AT_THE_MACHINE,
    "apiary_sales.keeping.services.nightly.queue_nightly": BY_ITSELF,
    "apiary_sales.mailing.services.delivery.queue_waiting": BY_ITSELF,
    "apiary_sales.webhooks.services.events.record": BY_ITSELF,
    "apiary_sales.webhooks.services.sending.queue_waiting": BY_ITSELF,
    "inventory.bottling.services.part_closings.rebuild": AT_THE_MACHINE,
    "inventory.shared.services.sent_forms.keep": IN_THE_FORM,
    "inventory.stock.services.average_closings.rebuild": AT_THE_MACHINE,
    "inventory.stock.services.seals.make": AT_THE_MACHINE,
}

BEGINS = "long_work.begin("
# Methods of rows and managers that write.
WRITES = {"bulk_create", "bulk_update", "create", "delete", "get_or_create", "save", "update"}
# What is left out: the demo, and what an act sets off in other apps by a signal.
NO_DOORS = {"apps", "demo", "migrations"}


class Function(NamedTuple):
    """A function or class of a module, by its name there."""

    module: str
    name: str

    def __str__(self) -> str:
        return f"{self.module}.{self.name}"


class Code(NamedTuple):
    """All functions and classes of the product, and which others each of them names."""

    nodes: dict[Function, ast.AST]
    named: dict[Function, set[Function]]


def modules() -> dict[str, ast.Module]:
    """Read each module that is a service or names one; the others are left out to save time."""
    texts = {}
    for path in [*ROOT.glob("inventory/**/*.py"), *ROOT.glob("apiary_sales/**/*.py")]:
        parts = path.relative_to(ROOT).with_suffix("").parts
        if not NO_DOORS & set(parts):
            texts[".".join(parts).removesuffix(".__init__")] = path.read_text()
    long = {module.rpartition(".")[2] for module, text in texts.items() if BEGINS in text}
    return {
        module: ast.parse(text)
        for module, text in texts.items()
        if "services" in module or any(name in text for name in ("services", *long))
    }


@cache
def code() -> Code:
    """Read all modules; what is at the top of one, outside of functions, is its `__name__`."""
    found = modules()
    nodes: dict[Function, ast.AST] = {}
    named: dict[Function, set[Function]] = {}
    for module, tree in found.items():
        imported = dict(imports_of(tree))
        loose = ast.Module(body=[], type_ignores=[])
        for node in [*tree.body, loose]:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                function = Function(module, node.name)
            elif node is loose:
                function = Function(module, "__name__")
            else:
                loose.body.append(node)
                continue
            nodes[function] = node
            named[function] = set(named_in(node, module, imported, found))
    return Code(nodes, {function: each & nodes.keys() for function, each in named.items()})


def imports_of(tree: ast.Module) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield each name that a module imports, with the module and the name that it is there."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                yield alias.asname or alias.name, (node.module, alias.name)


def named_in(
    node: ast.AST, module: str, imported: dict[str, tuple[str, str]], found: dict[str, ast.Module]
) -> Iterator[Function]:
    for part in ast.walk(node):
        if isinstance(part, ast.Name):
            yield Function(*imported.get(part.id, (module, part.id)))
        if isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
            whole = ".".join(imported.get(part.value.id, ("", "")))
            if whole in found:
                yield Function(whole, part.attr)


@cache
def service_modules() -> set[str]:
    """Return the modules of services, and those that begin long work, which are such too."""
    begin = Function("inventory.shared.services.long_work", "begin")
    return {
        function.module
        for function, named in code().named.items()
        if function.module.split(".")[2:3] == ["services"] or begin in named
    }


@cache
def writing() -> set[Function]:
    """Return the functions of services that write, themselves or by what they call."""
    inside = [each for each in code().nodes if each.module in service_modules()]
    found = {each for each in inside if writes_itself(code().nodes[each])}
    while more := {each for each in inside if code().named[each] & found} - found:
        found |= more
    return found


def writes_itself(node: ast.AST) -> bool:
    return any(
        isinstance(part, ast.Attribute) and part.attr in {*WRITES, "atomic", "unlink"}
        for part in ast.walk(node)
    )


@cache
def callers() -> dict[Function, set[Function]]:
    found = defaultdict(set)
    for function, named in code().named.items():
        for each in named:
            found[each].add(function)
    return found


def is_door(function: Function) -> bool:
    """Tell whether this is a page, a form, a command or a task: neither service nor API."""
    return function.module not in service_modules() and not function.module.startswith(
        ("apiary_sales.api.", "apiary_sales.imports.rows.")
    )


def acts() -> list[Function]:
    """Return the acts: public functions of services that write, and are called at a door."""
    return sorted(
        function
        for function in writing()
        if not function.name.startswith("_")
        and isinstance(code().nodes[function], ast.FunctionDef)
        and any(is_door(each) for each in callers()[function])
    )


@cache
def addressed() -> set[Function]:
    """Return what the API calls, itself or through what is no service."""
    reached: set[Function] = set()
    ahead = [each for each in code().nodes if each.module.startswith("apiary_sales.api.")]
    while ahead:
        function = ahead.pop()
        if function in reached:
            continue
        reached.add(function)
        if function.module not in service_modules():
            ahead += code().named[function]
    return reached


def test_every_act_has_an_address_or_a_reason_why_it_has_none():
    found = {str(act) for act in acts()}
    without = {str(act) for act in acts() if act not in addressed()}

    assert sorted(without - WITHOUT_ADDRESS.keys()) == []
    # A reason goes when an act gets its address.
    assert sorted(WITHOUT_ADDRESS.keys() - without) == []
    assert {
        "inventory.bottling.services.runs.record",
        "inventory.stock.services.honey.receive",
        "apiary_sales.billing.services.payments.receive",
        "apiary_sales.keeping.export_work.begin",
        "apiary_sales.planning.services.make_draft_runs",
    } <= found
    # One only looks, and the other is a part of the acts of other services.
    assert "inventory.stock.services.honey.preview_transfer" not in found
    assert "inventory.stock.services.ledger.post" not in found
