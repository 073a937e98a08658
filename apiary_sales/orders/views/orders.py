"""One order: taken, looked at, picked, filled, cancelled and taken back."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.customers.fields import customer_in
from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders import papers
from apiary_sales.orders.forms.fulfil import FulfilForm
from apiary_sales.orders.forms.orders import DrumsBackForm, GoodsBackForm, OrderForm, ReasonForm
from apiary_sales.orders.models import (
    Fulfilment,
    FulfilmentLine,
    Order,
    OrderLine,
    Reservation,
)
from apiary_sales.orders.queries import orders as found
from apiary_sales.orders.queries import stock
from apiary_sales.orders.queries.drums import figures
from apiary_sales.orders.rules import drum_charges
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules.ways_back import way_of, what_happened
from apiary_sales.orders.services import drum_register, orders, weigh_out
from inventory.shared import documents
from inventory.shared.forms.acts import ActForm
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Place
from inventory.stock.queries import held_goods


@sees_buyers
@require_safe
def order_detail(request: HttpRequest, number: str) -> HttpResponse:
    order = get_object_or_404(found.for_page(), number=number)
    lines = list(order.lines.all())
    honey = [line for line in lines if line.kind == OrderLine.Kind.HONEY]
    # Honey drawn by weight has no lot before it is drawn, so that its gallons are not known.
    is_bulk = bool(honey) and not any(line.is_drawn for line in honey)
    is_late = found.is_late(order, timezone.localdate())
    is_open = order.status in Order.OPEN_STATUSES
    is_open_quote = order.status == Order.Status.QUOTED
    context = {
        "order": order,
        "lines": lines,
        "figures": figures(lines, on=order.placed_on) if is_bulk else None,
        "is_late": is_late,
        "tags": found.state_tags(order, is_late=is_late),
        "is_open": is_open,
        "is_quote": order.is_quote,
        "is_open_quote": is_open_quote,
        "missing_deposits": (
            drum_charges.notice_of_missing(lines) if is_open or is_open_quote else ""
        ),
        "missing": found.missing_goods(order),
        "can_be_confirmed": papers.can_be_confirmed(order),
        "has_reservations": any(line.reservations.all() for line in lines),
        "held": _held(order),
        "is_begun": any(line.filled for line in lines),
        "has_goods_to_invoice": found.has_goods_to_invoice(order),
        "drums_away": list(_drums_away(order)),
    }
    return render(request, "orders/order.html", context)


@sees_buyers
@require_safe
def pick_list(request: HttpRequest, number: str) -> HttpResponse:
    return render(request, "orders/pick_list.html", papers.pick_list_context(_order(number)))


@sees_buyers
@require_safe
def pick_list_pdf(request: HttpRequest, number: str) -> HttpResponse:
    return documents.serve(
        request,
        name=f"pick-list-{number}.pdf",
        template_name="documents/pick_list.html",
        context=papers.pick_list_context(_order(number)),
    )


@sees_buyers
@require_safe
def confirmation_pdf(request: HttpRequest, number: str) -> HttpResponse:
    order = _order(number)
    if not papers.can_be_confirmed(order):
        raise Http404
    return documents.answer(
        request,
        name=f"order-confirmation-{order.number}.pdf",
        make=lambda: papers.confirmation(order),
    )


@permission_required("orders.take_orders", raise_exception=True)
@require_POST
def order_total(request: HttpRequest) -> HttpResponse:
    """A part of the new order's page: what is typed so far, added up."""
    form = OrderForm(request.POST, products=stock.products(), customer=customer_in(request.POST))
    form.full_clean()
    return render(request, "orders/_order_total.html", {"form": form, **_total(form)})


class OrderCreateView(ActView):
    permission_required = "orders.take_orders"
    template_name = "orders/order_form.html"
    form_class = OrderForm

    def get_initial(self):
        return {name: value for name, value in self.request.GET.items() if name != "key"}

    def get_form_kwargs(self):
        typed = self.request.POST or self.request.GET
        return {
            **super().get_form_kwargs(),
            "products": stock.products(),
            "customer": customer_in(typed),
        }

    def get_context_data(self, **kwargs):
        context = super().get_context_data(**kwargs)
        form = context["form"]
        held = held_goods.in_stores()
        return {**context, "customer": form.buyer, "held_goods": held, **_total(form)}

    def act(self, data: dict[str, Any]) -> Order:
        return orders.take(
            customer=data["customer"],
            channel=data["channel"],
            lines=self.form.lines,
            wanted_on=data["wanted_on"],
            customer_reference=data["customer_reference"],
            ship_to=data["ship_to"],
            note=data["note"],
            expected_total_cents=data["expected_total_cents"],
            over_limit=data["over_limit"],
            moisture_is_right=data["moisture_is_right"],
            created_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Order) -> str:
        return _("Order %(order)s is taken, and its goods are reserved.") % {"order": made.number}

    def next_url(self, made: Order) -> str:
        return order_url(made)

    def repeat_url(self, made: Order) -> str:
        return order_url(made)


class OrderActView(ActView):
    """An act on one order."""

    @cached_property
    def order(self) -> Order:
        return get_object_or_404(found.for_page(), number=self.kwargs["number"])

    def get_context_data(self, **kwargs):
        return {**super().get_context_data(**kwargs), "order": self.order}

    def next_url(self, made: Any) -> str:
        return order_url(self.order)

    def repeat_url(self, made: Any) -> str:
        return order_url(self.order)


class OrderFulfilView(OrderActView):
    permission_required = "orders.fulfil_orders"
    template_name = "orders/fulfil.html"
    form_class = FulfilForm

    def get_form_kwargs(self):
        return {**super().get_form_kwargs(), "order": self.order}

    def get_initial(self):
        return {"weighed_by": person_of(self.request).display_name}

    def get_context_data(self, **kwargs):
        context = super().get_context_data(**kwargs)
        has_drums = any(rules.is_whole_drum(row.line) for row in context["form"].rows())
        by_weight = any(rules.is_weighed_out(row.line) for row in context["form"].rows())
        return {
            **context,
            "has_drums": has_drums,
            "is_by_weight": by_weight,
            "held": _held(self.order),
        }

    def form_valid(self, form):
        self.quantities, self.weighed = form.quantities, form.weighed
        self.drums, self.scale = form.drums, form.scale_used
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> Fulfilment:
        return weigh_out.hand_over(
            order=self.order,
            quantities=self.quantities,
            weighed=self.weighed,
            drums=self.drums,
            scale=self.scale,
            difference_is_right=data.get("difference_is_right", False),
            filled_on=data["filled_on"],
            filled_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Fulfilment) -> str:
        made.order.refresh_from_db()
        if made.order.status == Order.Status.FILLED:
            return _("All goods of order %(order)s are handed over.") % {"order": made.order.number}
        return _("Part of order %(order)s is handed over; the rest stays reserved.") % {
            "order": made.order.number
        }


class OrderRepickView(OrderActView):
    permission_required = "orders.fulfil_orders"
    template_name = "orders/repick.html"
    form_class = ActForm

    def get_context_data(self, **kwargs):
        return {**super().get_context_data(**kwargs), "held": _held(self.order)}

    def act(self, data: dict[str, Any]) -> Order:
        return orders.repick(order=self.order, picked_by=person_of(self.request), key=data["key"])

    def done_message(self, made: Order) -> str:
        return _("Other jars are reserved for order %(order)s; print its pick list again.") % {
            "order": made.number
        }


class OrderCancelView(OrderActView):
    permission_required = "orders.take_orders"
    template_name = "orders/cancel.html"
    form_class = ReasonForm

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.order.status == Order.Status.QUOTED:
            return redirect("orders:quote_withdraw", number=self.order.number)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs):
        return {**super().get_context_data(**kwargs), "words": _words_of_cancelling(self.order)}

    def act(self, data: dict[str, Any]) -> Order:
        return orders.cancel(
            order=self.order,
            cancelled_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: Order) -> str:
        if made.status == Order.Status.FILLED:
            return _(
                "The rest of order %(order)s is cancelled. Its goods are free to sell again."
            ) % {"order": made.number}
        return _("%(order)s is cancelled. No goods are reserved for it now.") % {
            "order": made.number
        }


def _words_of_cancelling(order: Order) -> dict[str, str]:
    """Return the heading, the lead and the button of the page that cancels an order."""
    if order.status == Order.Status.PART_FILLED:
        heading = _("Cancel the rest of order %(number)s")
        lead = _("Goods already handed over stay sold. The rest can be sold to others at once.")
        button = _("Cancel the rest")
    else:
        heading = _("Cancel order %(number)s")
        lead = _("The reserved stock can be sold to others at once.")
        button = _("Cancel it")
    return {"heading": heading % {"number": order.number}, "lead": lead, "button": button}


class OrderTakeBackView(OrderActView):
    permission_required = "orders.take_orders"
    template_name = "orders/take_back.html"
    form_class = GoodsBackForm

    @cached_property
    def fulfilment(self) -> Fulfilment:
        for fulfilment in self.order.fulfilments.all():
            if fulfilment.pk == self.kwargs["pk"]:
                return fulfilment
        raise Http404

    def get_context_data(self, **kwargs):
        return {
            **super().get_context_data(**kwargs),
            "fulfilment": self.fulfilment,
            "parts": [(part, way_of(part.order_line)) for part in self.fulfilment.lines.all()],
        }

    def act(self, data: dict[str, Any]) -> Any:
        in_pieces = self.fulfilment.lines.filter(
            lot__product__isnull=False, lot__product__item__is_weighed=False
        )
        self.is_kept_apart = data["had_left"] and in_pieces.exists()
        self.had_left = data["had_left"]
        return orders.take_back(
            fulfilment=self.fulfilment,
            taken_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
            had_left=self.had_left,
        )

    def done_message(self, made: Any) -> str:
        goods = [part.order_line for part in self.fulfilment.lines.all()]
        happened = what_happened(goods, had_left=self.had_left, spoils_weighed=False)
        updated = _("Order %(order)s is updated.") % {"order": self.order.number}
        said = f"{happened} {updated}".strip()
        if self.is_kept_apart:
            return format_html(
                '{} <a href="{}">{}</a>', said, reverse("inventory:jar_list"), _("Look at them")
            )
        return said


class DrumsBackView(OrderActView):
    permission_required = "orders.fulfil_orders"
    template_name = "orders/drums_back.html"
    form_class = DrumsBackForm

    def get_form_kwargs(self):
        return {**super().get_form_kwargs(), "away": _drums_away(self.order)}

    def act(self, data: dict[str, Any]) -> Any:
        self.count = len(data["drums"])
        return drum_register.take_back(
            outings=drum_register.outings_of(self.order, data["drums"]),
            received_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Any) -> str:
        return ngettext(
            "%(count)s drum is back and in use again.",
            "%(count)s drums are back and in use again.",
            self.count,
        ) % {"count": self.count}


def order_url(order: Order) -> str:
    return reverse("orders:order_detail", args=[order.number])


def _total(form: OrderForm) -> dict[str, Any]:
    lines = form.lines if form.is_bound else []
    return {
        "total_lines": [(line, line.description or rules.describe(line)) for line in lines],
        "total_cents": sum(line.amount_cents for line in lines),
        "unpriced": form.unpriced,
    }


def _held(order: Order) -> list[tuple[OrderLine, Reservation]]:
    """Return the jars reserved for an order whose lot is on hold by now."""
    return [
        (line, reservation)
        for line in order.lines.all()
        if line.kind == OrderLine.Kind.PACKED
        for reservation in line.reservations.all()
        if reservation.lot.is_on_hold
    ]


def _drums_away(order: Order):
    """Return the drums of an order that are out of the house."""
    out = FulfilmentLine.objects.still_out().filter(fulfilment__order=order)
    return Place.objects.filter(pk__in=out.values("order_line__drum"))


def _order(number: str) -> Order:
    return get_object_or_404(found.for_page(), number=number)
