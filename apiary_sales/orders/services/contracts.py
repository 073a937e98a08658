"""Contracts with a packer: agreed, their samples approved, and drums called off from them."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules import contracts as rules
from apiary_sales.orders.rules.contracts import PriceStep
from apiary_sales.orders.rules.lines import UNIT_PRICE_MAX, UNIT_PRICE_STEP, LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.orders.trade_models import CallOff, Contract, ContractPriceStep, ContractSample
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import checks
from inventory.shared.errors import Problems, parameters_named
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.shared.weights import in_words
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.services import numbers

# More steps of a price than anybody agrees on.
STEPS_MAX = 20
MOISTURE_FROM, MOISTURE_TO = Decimal(10), Decimal(30)


@transaction.atomic
def agree(
    *,
    customer: Customer,
    max_grams: int,
    price_steps: Sequence[PriceStep],
    starts_on: date,
    ends_on: date,
    created_by: Person,
    key: str,
    min_grams: int = 0,
    colour_class: str = "",
    moisture_percent_max: Decimal | None = None,
    floral_source: str = "",
    customer_reference: str = "",
    note: str = "",
) -> Contract:
    """Write down a contract, and return it; a fixed price is one step from zero.

    Raises `BadValue` or `SeveralProblems`, a step's at `price_steps.<position>.<name>`, and
    `AlreadyRecorded`.
    """
    refuse_repeat(Contract, key)
    problems = Problems()
    orders.check_customer(problems, customer)
    checks.check_grams(problems, "max_grams", max_grams)
    if min_grams < 0 or min_grams > max_grams:
        problems.add("min_grams", _("Enter no more than the most that is agreed."))
    if ends_on < starts_on:
        problems.add("ends_on", _("The last day is before the first. Choose a later day."))
    if colour_class and colour_class not in COLOUR_CLASSES:
        problems.add("colour_class", _("Choose one from the list."))
    if moisture_percent_max is not None and not (
        MOISTURE_FROM <= moisture_percent_max <= MOISTURE_TO
    ):
        problems.add("moisture_percent_max", _("Enter a moisture from 10 % to 30 %."))
    _check_steps(problems, price_steps)
    problems.raise_any()
    year = starts_on.year % 100
    contract = Contract(
        number=f"CT{year:02d}-{numbers.next_number(f'contract-{year}'):04d}",
        customer=customer,
        customer_reference=customer_reference.strip(),
        min_grams=min_grams,
        max_grams=max_grams,
        colour_class=colour_class,
        moisture_percent_max=moisture_percent_max,
        floral_source=floral_source.strip(),
        starts_on=starts_on,
        ends_on=ends_on,
        note=note.strip(),
        created_by=created_by,
        idempotency_key=key,
    )
    checks.save_checked(contract)
    ContractPriceStep.objects.bulk_create(
        ContractPriceStep(contract=contract, from_grams=step.from_grams, unit_price=step.unit_price)
        for step in price_steps
    )
    return contract


def _check_steps(problems: Problems, steps: Sequence[PriceStep]) -> None:
    if not 1 <= len(steps) <= STEPS_MAX:
        problems.add("price_steps", _("Enter from 1 to 20 prices."))
        return
    if min(step.from_grams for step in steps) != 0:
        problems.add("price_steps", in_words(_("Enter the price from the first {unit} on.")))
    if len({step.from_grams for step in steps}) < len(steps):
        problems.add("price_steps", _("Two prices start at the same weight. Remove one."))
    for index, step in enumerate(steps):
        name = f"price_steps.{index}.unit_price"
        if not Decimal(0) <= step.unit_price <= UNIT_PRICE_MAX:
            problems.add(name, _("Enter a price from zero to a million."))
        elif step.unit_price != step.unit_price.quantize(UNIT_PRICE_STEP):
            problems.add(name, _("Enter a price with at most four decimals."))
        if not 0 <= step.from_grams <= checks.GRAMS_MAX:
            problems.add(f"price_steps.{index}.from_grams", _("Enter a weight of zero or more."))


@transaction.atomic
def end(*, contract: Contract, ends_on: date) -> Contract:
    """Let a contract end on another day than was agreed first; raises `BadValue`."""
    contract = Contract.objects.select_for_update(no_key=True).get(pk=contract.pk)
    problems = Problems()
    if ends_on < contract.starts_on:
        problems.add("ends_on", _("The last day is before the first. Choose a later day."))
    problems.raise_any()
    contract.ends_on = ends_on
    contract.save(update_fields=["ends_on"])
    return contract


@transaction.atomic
def approve_sample(
    *,
    contract: Contract,
    lot: Lot,
    approved_on: date,
    approved_by: str,
    recorded_by: Person,
    key: str,
    note: str = "",
) -> ContractSample:
    """Write down that the buyer approved a sample of a lot.

    Raises `BadValue`, `AlreadyRecorded`.
    """
    refuse_repeat(ContractSample, key)
    problems = Problems()
    checks.check_day(problems, "approved_on", approved_on)
    if not approved_by.strip():
        problems.add("approved_by", _("Enter who approved the sample."))
    if lot.product is not None:
        problems.add("lot", _("Choose a lot of honey in bulk."))
    problems.raise_any()
    sample = ContractSample(
        contract=contract,
        lot=lot,
        approved_on=approved_on,
        approved_by=approved_by.strip(),
        note=note.strip(),
        recorded_by=recorded_by,
        idempotency_key=key,
    )
    checks.save_checked(sample)
    return sample


@transaction.atomic
def call_off(
    *,
    contract: Contract,
    drums: Sequence[Place],
    created_by: Person,
    key: str,
    charges: Sequence[LineWanted] = (),
    wanted_on: date | None = None,
    customer_reference: str = "",
    note: str = "",
    beyond_is_right: bool = False,
    quality_is_right: bool = False,
    over_limit: bool = False,
    moisture_is_right: bool = False,
) -> CallOff:
    """Take an order for whole drums at the contract's price, and count it against the contract.

    `charges` are lines for the drums themselves and freight. `beyond_is_right` says that it is
    taken though it goes beyond the weight or the days of the contract, `quality_is_right` though a
    drum is not what was agreed. Raises `BadValue` at those two with what they are asked for, and
    all that `orders.take` raises, a drum's at `drums`.
    """
    contract = (
        Contract.objects.select_for_update(of=("self",), no_key=True)
        .select_related("customer")
        .get(pk=contract.pk)
    )
    order = Order.objects.filter(idempotency_key=key).first()
    refuse_repeat(Order, key, made=order and order.call_off)
    problems = Problems()
    if not drums:
        problems.add("drums", _("Tick the drums the buyer gets."))
    there = {drum: Balance.objects.in_vessel(drum) for drum in drums}
    for drum, balance in there.items():
        if balance is None or drum.kind != Place.Kind.DRUM:
            problems.add(
                "drums",
                _("%(drum)s is empty or no longer here. Choose another.") % {"drum": drum.name},
            )
    problems.raise_any()
    full = {drum: balance for drum, balance in there.items() if balance is not None}
    grams = sum(balance.quantity for balance in full.values())
    beyond, faults = _warnings(contract, full, grams, wanted_on)
    if beyond and not beyond_is_right:
        problems.add("beyond_is_right", " ".join(beyond))
    if faults and not quality_is_right:
        problems.add("quality_is_right", " ".join(faults))
    problems.raise_any()
    unit_price = rules.price_of(contract.price_steps.all(), grams)
    lines = [
        LineWanted(
            OrderLine.Kind.HONEY, balance.quantity, unit_price, drum=drum, lot=balance.honey_lot
        )
        for drum, balance in full.items()
    ]
    with parameters_named(**{f"lines.{index}.drum": "drums" for index in range(len(lines))}):
        order = orders.take(
            customer=contract.customer,
            channel=Order.Channel.BULK,
            lines=[*lines, *charges],
            wanted_on=wanted_on,
            customer_reference=customer_reference or contract.customer_reference,
            note=note,
            over_limit=over_limit,
            moisture_is_right=moisture_is_right,
            created_by=created_by,
            key=key,
        )
    return CallOff.objects.create(
        contract=contract, order=order, accepted="\n".join([*beyond, *faults])
    )


def _warnings(
    contract: Contract, full: dict[Place, Balance], grams: int, wanted_on: date | None
) -> tuple[list[str], list[str]]:
    """Return what goes beyond the contract, and what its drums lack of the quality agreed."""
    [tally] = CallOff.objects.tallies([contract])
    approved = list(contract.samples.values_list("lot", flat=True))
    faults = [
        fault
        for drum, balance in full.items()
        for fault in rules.faults(contract, drum, balance.honey_lot, approved)
    ]
    return rules.beyond(tally, grams, wanted_on or timezone.localdate()), faults
