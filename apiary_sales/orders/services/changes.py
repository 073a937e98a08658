"""Change an order or a quote until its goods are handed over; reservations follow."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any, TypedDict, Unpack, cast

from django.db import models, transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.errors import QuoteExpired
from apiary_sales.orders.models import Order, OrderEvent, OrderLine, Reservation
from apiary_sales.orders.rules import changes as rules
from apiary_sales.orders.rules import lines as line_rules
from apiary_sales.orders.rules.changes import OrderLineChange
from apiary_sales.orders.rules.lines import OF_PRODUCTS, LineWanted, is_reserved, is_whole_drum
from apiary_sales.orders.services import fulfilments, orders, reservations
from apiary_sales.orders.services import lines as order_lines
from inventory.bottling.models import Product
from inventory.shared import checks, keys, words
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Place
from inventory.stock.services import ledger

__all__ = ["OrderDetails", "change", "reserve_missing", "substitute"]


class OrderDetails(TypedDict, total=False):
    """What is agreed of an order beside its lines; what is not given stays."""

    wanted_on: date | None
    valid_until: date | None
    customer_reference: str
    ship_to: DeliveryAddress | None
    note: str


@transaction.atomic
def change(
    *,
    order: Order,
    changed_by: Person,
    key: str,
    changes: Sequence[OrderLineChange] = (),
    lines: Sequence[LineWanted] = (),
    seen: str = "",
    expected_total_cents: int | None = None,
    over_limit: bool = False,
    moisture_is_right: bool = False,
    **details: Unpack[OrderDetails],
) -> Order:
    """Change lines of an order or an open quote, add `lines` to it, and change its details.

    Of an order, more is reserved where a line grows and what is too much is released; a quote
    reserves nothing. What was handed over keeps its price: where the rest of such a line gets
    another, it becomes a line of its own. Each change is kept as an event. `seen` is the state
    (see `rules.changes.state_of`) and `expected_total_cents` the total that was shown.
    Raises `NotAllowedNow`, `QuoteExpired`, `FiguresChanged`, `OverCreditLimit`, `BadValue`,
    `NotEnoughStock` and its like (or several) at `changes.<position>.<name>` or
    `lines.<position>.<name>`, and `AlreadyRecorded`.
    """
    work = _begin(order, key, seen)
    problems = Problems()
    work.told += _set_details(problems, work.order, details)
    _check(problems, work, changes, lines, moisture_is_right=moisture_is_right)
    _apply(work, changes, lines)
    if not work.told:
        raise BadValue(_("Nothing was changed. Change something, or go back."), parameter="changes")
    return _finish(
        work,
        kind=OrderEvent.Kind.CHANGED,
        by=changed_by,
        key=key,
        expected_total_cents=expected_total_cents,
        over_limit=over_limit,
    )


@transaction.atomic
def substitute(
    *,
    order: Order,
    line: int,
    substituted_by: Person,
    key: str,
    reason: str,
    product: Product | None = None,
    drum: Place | None = None,
    quantity: int | None = None,
    unit_price: Decimal | None = None,
    seen: str = "",
    expected_total_cents: int | None = None,
    over_limit: bool = False,
    moisture_is_right: bool = False,
) -> Order:
    """Put another product or drum in the place of what is left to hand over of a line.

    A product goes in the same quantity unless another is given, a drum whole, and both at the
    price of the line unless another is given. What was reserved for the line is free again.
    Raises as `change`, at `product`, `drum`, `quantity`, `unit_price` or `reason`.
    """
    work = _begin(order, key, seen)
    problems = Problems()
    old = work.lines.get(line)
    if old is None:
        raise BadValue(_("That line is not on this order. Open the order again."), parameter="line")
    orders.check_reason(reason, _("Say why other goods are put in place."))
    if not old.to_fill:
        raise NotAllowedNow(
            _("All of %(what)s is handed over. Nothing is left to put other goods in place of.")
            % {"what": old.description}
        )
    new = _in_place_of(problems, old, product, drum, quantity, unit_price)
    cut = OrderLineChange(line, quantity=old.filled)
    before = old.to_fill
    try:
        _check(problems, work, [cut], [new], moisture_is_right=moisture_is_right)
        _apply(work, [cut], [new], tells=False)
    except HouseError as error:
        raise _at_own_parameters(error) from error
    made = work.made[0]
    made.price_reason = reason.strip()[:200] if made.unit_price != old.unit_price else ""
    made.save(update_fields=["price_reason"])
    work.told.append(
        _("%(before)s of %(old)s → %(after)s of %(new)s at %(price)s (%(reason)s)")
        % {
            "before": rules.in_words(old, before),
            "old": old.description,
            "after": rules.in_words(made, made.quantity),
            "new": made.description,
            "price": words.unit_price(made.unit_price),
            "reason": reason.strip(),
        }
    )
    return _finish(
        work,
        kind=OrderEvent.Kind.SUBSTITUTED,
        by=substituted_by,
        key=key,
        expected_total_cents=expected_total_cents,
        over_limit=over_limit,
    )


@transaction.atomic
def reserve_missing(*, order: Order, reserved_by: Person, key: str) -> Order:
    """Reserve free goods in place of those that were reserved and turned out to be gone.

    Raises `NotAllowedNow` where nothing is missing or the drum that held it is gone,
    `NotEnoughStock`, `AlreadyRecorded`.
    """
    work = _begin(order, key, "")
    missing = [line for line in work.lines.values() if line.gave_way]
    if not missing or work.order.is_quote:
        raise NotAllowedNow(
            _("All goods of order %(order)s are reserved.") % {"order": work.order.number}
        )
    problems, picker = Problems(), reservations.Picker(reservations.shelves())
    promises: list[reservations.Promise] = []
    for line in missing:
        if line.kind not in OF_PRODUCTS:
            problems.add(
                None,
                _("%(what)s is gone. Put another drum in its place, or take it off the order.")
                % {"what": line.description},
            )
            continue
        try:
            picked = picker.pick(line, None, line.gave_way)
        except HouseError as error:
            problems.add_error(error)
        else:
            promises += [(line, reservations.as_stock(there, part)) for there, part in picked]
            work.told.append(
                _("Reserved: %(quantity)s of %(what)s in place of what was gone")
                % {"quantity": rules.in_words(line, line.gave_way), "what": line.description}
            )
    problems.raise_any()
    reservations.add(promises)
    for line in missing:
        line.gave_way = 0
        line.save(update_fields=["gave_way"])
    return _finish(work, kind=OrderEvent.Kind.CHANGED, by=reserved_by, key=key, over_limit=True)


@dataclass
class _Work:
    """An order that is being changed, locked, with its lines by their key."""

    order: Order
    lines: dict[int, OrderLine]
    # What is handed over of each line comes to, by its key.
    given: dict[int, int]
    told: list[str] = field(default_factory=list)
    made: list[OrderLine] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.drums_before = self.drums()
        self.open_cents_before = self.open_cents()

    def drums(self) -> int:
        return sum(is_whole_drum(line) and line.quantity > 0 for line in self.lines.values())

    def total_cents(self) -> int:
        return sum(line.amount_cents for line in self.lines.values())

    def open_cents(self) -> int:
        """What is still to hand over comes to."""
        return self.total_cents() - sum(self.given.get(pk, 0) for pk in self.lines)


def _begin(order: Order, key: str, seen: str) -> _Work:
    """Lock an order that can be changed, and the goods of its lines."""
    order = orders.lock(order)
    refuse_repeat(OrderEvent, key, made=order)
    today = timezone.localdate()
    state = order.state_on(today)
    if state == Order.Status.EXPIRED and order.valid_until:
        raise QuoteExpired(
            _("Quote %(order)s was valid until %(day)s. Make a new quote at today's price.")
            % {"order": order.number, "day": date_format(order.valid_until)},
            order=order.number,
        )
    if state not in (*Order.OPEN_STATUSES, Order.Status.QUOTED):
        raise NotAllowedNow(
            _("%(order)s can't be changed any more. Its state is now “%(status)s”.")
            % {"order": order.number, "status": order.get_status_display()}
        )
    lines = orders.lines_of(order)
    if seen and seen != rules.state_of(order, lines):
        raise NotAllowedNow(
            _(
                "%(order)s was changed while this page was open. Open it again to see what it is "
                "now; nothing of yours was saved."
            )
            % {"order": order.number},
            parameter="seen",
        )
    return _Work(order, {line.pk: line for line in lines}, fulfilments.amounts_given(lines))


def _set_details(problems: Problems, order: Order, details: OrderDetails) -> list[str]:
    """Put changed details on the order, and return how each is told."""
    told = []
    given: dict[str, Any] = dict(details)
    for name, value in given.items():
        before, after = getattr(order, name), value.strip() if isinstance(value, str) else value
        if before == after:
            continue
        setattr(order, name, after)
        label = str(cast("models.Field[Any, Any]", Order._meta.get_field(name)).verbose_name)
        label = label[:1].upper() + label[1:]
        told.append(f"{label}: {_told(before)} → {_told(after)}")
    today = timezone.localdate()
    if given.get("ship_to"):
        orders.check_ship_to(problems, order.customer, given["ship_to"])
    if wanted_on := given.get("wanted_on"):
        orders.check_wanted_on(problems, wanted_on, order.placed_on)
    if "valid_until" in given:
        if not order.is_quote or order.valid_until is None:
            problems.add("valid_until", _("Only a quote has a day until which it is valid."))
        elif order.valid_until < today:
            problems.add(
                "valid_until",
                _("The last day the quote is valid is in the past. Choose today or a later day."),
            )
        else:
            orders.check_not_far(problems, "valid_until", order.valid_until)
    return told


def _told(value: Any) -> str:
    if value is None or value == "":
        return "–"
    return date_format(value) if isinstance(value, date) else str(value)


def _check(
    problems: Problems,
    work: _Work,
    changes: Sequence[OrderLineChange],
    lines: Sequence[LineWanted],
    *,
    moisture_is_right: bool,
) -> None:
    """Raise what is wrong with what is typed, and lock the goods it is about."""
    seen: set[int] = set()
    for index, asked in enumerate(changes):
        line = work.lines.get(asked.line)
        if line is None or asked.line in seen:
            problems.add(
                f"changes.{index}.line",
                _("That line is not on this order. Open the order again."),
            )
        else:
            seen.add(asked.line)
            rules.check(problems, index, line, asked)
    if lines:
        line_rules.check(problems, lines)
        order_lines.check_private_labels(problems, work.order.customer, lines)
        _check_drums(problems, work, changes, lines)
    if len(work.lines) + len(lines) > line_rules.LINES_MAX:
        problems.add("lines", _("An order can have up to 200 lines. Make two orders."))
    problems.raise_any()
    ledger.lock_items(order_lines.items_of([*work.lines.values(), *lines]))
    order_lines.check_moisture(problems, lines, moisture_is_right=moisture_is_right)
    problems.raise_any()


def _check_drums(
    problems: Problems, work: _Work, changes: Sequence[OrderLineChange], lines: Sequence[LineWanted]
) -> None:
    """Refuse a drum that is on the order already."""
    taken_off = {asked.line for asked in changes if asked.quantity == 0}
    there = {
        line.drum_id
        for pk, line in work.lines.items()
        if line.kind == OrderLine.Kind.HONEY and line.quantity and pk not in taken_off
    }
    for index, line in enumerate(lines):
        if line.kind == OrderLine.Kind.HONEY and line.drum and line.drum.pk in there:
            problems.add(
                line_rules.parameter_of(index, "drum"),
                _("%(drum)s is on the list twice. Remove one.") % {"drum": line.drum.name},
            )


def _apply(
    work: _Work,
    changes: Sequence[OrderLineChange],
    lines: Sequence[LineWanted],
    *,
    tells: bool = True,
) -> None:
    """Change and add the lines: first what is released, then what is reserved beside."""
    grown: list[tuple[int, OrderLine, int]] = []
    splits: list[tuple[OrderLine, OrderLineChange]] = []
    for index, asked in enumerate(changes):
        line = work.lines[asked.line]
        before = line.quantity
        told = _change_line(work, index, line, asked)
        if asked.unit_price is not None and line.filled and asked.unit_price != line.unit_price:
            splits.append((line, asked))
        if line.quantity < before:
            _shrink(work.order, line, before - line.quantity)
        elif line.quantity > before:
            grown.append((index, line, line.quantity - before))
        if tells:
            work.told += told
    _grow(work.order, grown)
    for line, asked in splits:
        work.told += _split(work, line, asked)
    if lines:
        work.made = order_lines.make(work.order, lines)
        if any(line.kind in line_rules.DRUM_CHARGES for line in work.made):
            # A drum that stayed here without a charge counts as out with one.
            work.order.fulfilments.with_drums().update(drums_are_open=True)
        _promise_new(work)
        work.lines |= {line.pk: line for line in work.made}
        if tells:
            work.told += [rules.told_of_new(line) for line in work.made]
    _take_off_empty(work)


def _change_line(work: _Work, index: int, line: OrderLine, asked: OrderLineChange) -> list[str]:
    """Change the figures of a line and return how that is told; a price of a rest is left out."""
    told, reason = [], asked.price_reason.strip()
    quantity = line.quantity if asked.quantity is None else asked.quantity
    price, discount = line.unit_price, line.discount_cents
    if quantity != line.quantity:
        told.append(rules.told_of_quantity(line, line.quantity, quantity))
        line.ordered = None
    if asked.unit_price is not None and asked.unit_price != price and not line.filled:
        told.append(rules.told_of_price(line, price, asked.unit_price, reason))
        price, line.price_reason = asked.unit_price, reason
    given = work.given.get(line.pk, 0)
    if asked.discount_cents is not None and asked.discount_cents != discount:
        if quantity:
            told.append(rules.told_of_discount(line, discount, asked.discount_cents, reason))
        discount, line.price_reason = asked.discount_cents, reason
        room = line_rules.gross_cents(line.kind, quantity, price) - given
        if quantity > line.filled and discount > max(0, room):
            raise BadValue(
                _("The discount is more than what is left of the line. Enter a smaller discount."),
                parameter=f"changes.{index}.discount_cents",
            )
    figures = rules.figures(line, quantity, price, discount, given)
    line.unit_price = price
    order_lines.take_figures(line, quantity, figures)
    return told


def _shrink(order: Order, line: OrderLine, less: int) -> None:
    """Release what is too much; what was gone anyway goes first."""
    gone = min(less, line.gave_way)
    if gone:
        line.gave_way -= gone
        line.save(update_fields=["gave_way"])
    if order.status in Order.OPEN_STATUSES and is_reserved(line):
        reservations.release_part(line, less - gone)


def _grow(order: Order, grown: Sequence[tuple[int, OrderLine, int]]) -> None:
    """Reserve what lines need more; honey that is drawn by weight must be there."""
    problems, picker = Problems(), reservations.Picker(reservations.shelves())
    promises: list[reservations.Promise] = []
    for index, line, more in grown:
        name = f"changes.{index}.quantity"
        try:
            if line.kind == OrderLine.Kind.HONEY:
                reservations.find_honey(line, name, grams=line.to_fill)
            elif line.kind in OF_PRODUCTS and order.status in Order.OPEN_STATUSES:
                picked = picker.pick(line, name, more)
                promises += [(line, reservations.as_stock(there, part)) for there, part in picked]
        except HouseError as error:
            problems.add_error(error)
    problems.raise_any()
    reservations.add(promises)


def _split(work: _Work, line: OrderLine, asked: OrderLineChange) -> list[str]:
    """Make the rest of a line that was handed over in part a line of its own, at its new price."""
    rest, price, reason = line.to_fill, cast(Decimal, asked.unit_price), asked.price_reason.strip()
    if not rest:
        return []
    told = [rules.told_of_price(line, line.unit_price, price, reason)]
    given = work.given.get(line.pk, 0)
    handed_over = rules.figures(line, line.filled, line.unit_price, line.discount_cents, given)
    gross = line_rules.gross_cents(line.kind, rest, price)
    discount = min(max(0, line.discount_cents - handed_over.discount_cents), gross)
    new = OrderLine(
        order=line.order,
        kind=line.kind,
        product=line.product,
        drum=line.drum,
        lot=line.lot,
        service=line.service,
        is_drawn=line.is_drawn,
        description=line.description,
        quantity=rest,
        unit_price=price,
        price_reason=reason,
        discount_cents=discount,
        amount_cents=gross - discount,
        gave_way=line.gave_way,
    )
    new.save()
    Reservation.objects.filter(line=line).update(line=new)
    line.gave_way, line.ordered = 0, None
    order_lines.take_figures(line, line.filled, handed_over)
    work.lines[new.pk] = new
    return told


def _promise_new(work: _Work) -> None:
    """Reserve the goods of new lines; of a quote, see only that its drums are there and free."""
    if work.order.status in Order.OPEN_STATUSES:
        reservations.reserve(work.made, parameter="lines")
        return
    problems = Problems()
    for index, line in enumerate(work.made):
        if line.kind == OrderLine.Kind.HONEY:
            try:
                reservations.find_honey(line, line_rules.parameter_of(index, "drum"))
            except HouseError as error:
                problems.add_error(error)
    problems.raise_any()


def _take_off_empty(work: _Work) -> None:
    """Take off the lines without quantity; one whose goods were out and came back stays, empty."""
    empty = [line for line in work.lines.values() if not line.quantity]
    for line in empty:
        if not line.fulfilment_lines.exists():
            del work.lines[line.pk]
            line.delete()


def _finish(
    work: _Work,
    *,
    kind: str,
    by: Person,
    key: str,
    expected_total_cents: int | None = None,
    over_limit: bool = False,
) -> Order:
    """Check what the order has become, save it, and keep each change as an event."""
    order, lines = work.order, list(work.lines.values())
    if not any(line.quantity for line in lines):
        sentence = _("Nothing would be left on order %(order)s. Cancel the order instead.")
        if order.is_quote:
            sentence = _("Nothing would be left on quote %(order)s. Withdraw the quote instead.")
        raise BadValue(sentence % {"order": order.number}, parameter="changes")
    _check_drum_charges(work)
    checks.check_total(work.total_cents(), expected_total_cents)
    if not order.is_quote:
        order.status = orders.status_by(lines)
        _check_credit(work, over_limit=over_limit)
    order.save()
    for number, sentence in enumerate(work.told):
        part = keys.part(key, f"change-{number}") if number else key
        orders.note_event(order, kind, by=by, key=part, note=sentence)
    return order


def _check_drum_charges(work: _Work) -> None:
    """Refuse more deposits or drums sold than drums, where drums were taken off."""
    charges = sum(
        line.quantity for line in work.lines.values() if line.kind in line_rules.DRUM_CHARGES
    )
    if work.drums() < min(work.drums_before, charges):
        raise BadValue(
            _(
                "There are fewer drums on it now than drums on deposit or sold: %(drums)s and "
                "%(charges)s. Change the number of those too."
            )
            % {"drums": work.drums(), "charges": charges},
            parameter="changes",
        )


def _check_credit(work: _Work, *, over_limit: bool) -> None:
    """Ask about the credit limit where the order comes to more than before."""
    more = work.open_cents() - work.open_cents_before
    if over_limit or more <= 0:
        return
    # The lines are written already, and its status may not be, so what this order was is left out.
    before = Order.objects.credit_of(cast(Customer, work.order.customer))
    others = before.ordered_cents - work.open_cents()
    orders.check_credit(replace(before, ordered_cents=others), work.open_cents())


def _in_place_of(
    problems: Problems,
    old: OrderLine,
    product: Product | None,
    drum: Place | None,
    quantity: int | None,
    unit_price: Decimal | None,
) -> LineWanted:
    """Return the line that takes the place of another."""
    price = old.unit_price if unit_price is None else unit_price
    if drum is not None and is_whole_drum(old):
        there = reservations.honey_in(drum)
        return LineWanted(OrderLine.Kind.HONEY, there, price, drum=drum)
    if product is not None and old.kind in OF_PRODUCTS:
        kind = OrderLine.Kind.WEIGHED if product.item.is_weighed else OrderLine.Kind.PACKED
        if kind != old.kind and quantity is None:
            problems.add("quantity", _("Enter how much of it."))
        wanted = old.to_fill if quantity is None else quantity
        return LineWanted(kind, wanted, price, product=product)
    if is_whole_drum(old):
        raise BadValue(_("Choose the drum that takes its place."), parameter="drum")
    if old.kind in OF_PRODUCTS:
        raise BadValue(_("Choose the product that takes its place."), parameter="product")
    raise NotAllowedNow(
        _("Nothing can take the place of %(what)s. Change the order instead.")
        % {"what": old.description}
    )


def _at_own_parameters(error: HouseError) -> HouseError:
    """Name what is wrong with the one new line as the parameters of `substitute`."""
    for problem in error.problems:
        if problem.parameter:
            problem.parameter = problem.parameter.rpartition(".")[2]
    return error
