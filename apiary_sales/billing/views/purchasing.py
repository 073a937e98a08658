"""Pages of purchase orders, of bills of suppliers and of what they are owed."""

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.billing import papers_purchasing as papers
from apiary_sales.billing.forms import purchasing as forms
from apiary_sales.billing.models import (
    PurchaseOrder,
    PurchaseOrderLine,
    PurchaseReceipt,
    SupplierBill,
    SupplierPayment,
)
from apiary_sales.billing.queries import bills as bill_queries
from apiary_sales.billing.queries import purchase_orders as order_queries
from apiary_sales.billing.services import bills, purchase_orders
from inventory.bottling.models import GoodsReceipt, PartReceipt
from inventory.shared import documents, words
from inventory.shared.csv_files import csv_response
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.shared.row_keys import row_key
from inventory.shared.views import ActView
from inventory.stock.forms.amounts import as_amount
from inventory.stock.models import Supplier

MANAGE = "billing.manage_purchases"
PAGE_LENGTH = 50

manages = permission_required(MANAGE, raise_exception=True)


# ------------------------------------------------------------------ purchase orders


@require_GET
@manages
def order_list(request: HttpRequest) -> HttpResponse:
    form = forms.OrderFilterForm(request.GET)
    found = order_queries.orders(**forms.asked(form))
    page = Paginator(found, PAGE_LENGTH).get_page(request.GET.get("page"))
    today = timezone.localdate()
    shown = [order_queries.ordered(order) for order in page]
    context = {
        "form": form,
        "page_obj": page,
        "rows": [(each, each.tag(today)) for each in shown],
    }
    return render(request, "billing/buying/orders.html", context)


@require_GET
@manages
def order_detail(request: HttpRequest, number: str) -> HttpResponse:
    ordered = order_queries.ordered(_order(number))
    receipts = PurchaseReceipt.objects.filter(line__order=ordered.order).select_related(
        "part_receipt__part__item",
        "part_receipt__posting",
        "part_receipt__posting__reversed_by",
        "goods_receipt__product__item",
        "goods_receipt__posting__reversed_by",
    )
    context = {
        "ordered": ordered,
        "order": ordered.order,
        "tag": ordered.tag(timezone.localdate()),
        "receipts": receipts,
        "unlinked": [
            (line, delivery)
            for line in ordered.lines
            if ordered.order.is_open and line.missing
            for delivery in order_queries.unlinked(line)
        ],
    }
    return render(request, "billing/buying/order.html", context)


@require_GET
@manages
def order_pdf(request: HttpRequest, number: str) -> HttpResponse:
    order = _order(number)
    return documents.serve(
        request,
        name=_("Purchase order %(number)s.pdf") % {"number": order},
        template_name=papers.PURCHASE_ORDER,
        context=papers.purchase_order_context(order),
    )


def _order(number: str) -> PurchaseOrder:
    return get_object_or_404(order_queries.orders(), number=number)


class PlaceOrderView(ActView):
    """Write down an order to a supplier."""

    permission_required = MANAGE
    form_class = forms.PurchaseOrderForm
    template_name = "billing/buying/order_form.html"

    def get_initial(self) -> dict[str, Any]:
        supplier = row_key(self.request.GET.get("supplier"))
        return {"supplier": supplier} if supplier else {}

    def act(self, data: dict[str, Any]) -> PurchaseOrder:
        return purchase_orders.place(
            supplier=data["supplier"],
            lines=self.form.lines,
            ordered_on=data["ordered_on"],
            expected_on=data["expected_on"],
            freight_cents=data["freight"] or 0,
            note=data["note"],
            ordered_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: PurchaseOrder) -> str:
        return _("Order %(order)s to %(supplier)s is written. Send them the PDF.") % {
            "order": made,
            "supplier": made.supplier,
        }

    def next_url(self, made: PurchaseOrder) -> str:
        return reverse("billing:purchase_order", args=[made.number])

    repeat_url = next_url


class ChangeOrderView(PlaceOrderView):
    """Change an order of which nothing came in yet."""

    def prepare(self) -> None:
        self.order = _order(self.kwargs["number"])

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "order": self.order}

    def edited(self) -> Model:
        return self.order

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [self.order.lines.all()]

    def get_initial(self) -> dict[str, Any]:
        return {
            "expected_on": self.order.expected_on,
            "freight": self.order.freight_cents or None,
            "note": self.order.note,
            **forms.first_lines(self.order),
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(order=self.order, **kwargs)

    def act(self, data: dict[str, Any]) -> PurchaseOrder:
        return purchase_orders.change(
            order=self.order,
            lines=self.form.lines,
            expected_on=data["expected_on"],
            freight_cents=data["freight"] or 0,
            note=data["note"],
        )

    def done_message(self, made: PurchaseOrder) -> str:
        return _("Order %(order)s is changed. Send the supplier the new PDF.") % {"order": made}


class CloseOrderView(ActView):
    """Expect no more of an order."""

    permission_required = MANAGE
    form_class = forms.CloseOrderForm
    template_name = "billing/buying/order_close.html"

    def prepare(self) -> None:
        self.order = _order(self.kwargs["number"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        ordered = order_queries.ordered(self.order)
        return super().get_context_data(order=self.order, ordered=ordered, **kwargs)

    def act(self, data: dict[str, Any]) -> PurchaseOrder:
        return purchase_orders.close(order=self.order, reason=data["reason"])

    def done_message(self, made: PurchaseOrder) -> str:
        return _("Order %(order)s is %(status)s.") % {
            "order": made,
            "status": made.get_status_display(),
        }

    def next_url(self, made: PurchaseOrder) -> str:
        return reverse("billing:purchase_order", args=[made.number])


class ReceiveForOrderView(ActView):
    """Bring in what came for one line of an order, named by `?line=`."""

    permission_required = MANAGE
    form_class = forms.ReceiveForOrderForm
    template_name = "billing/buying/order_receive.html"

    def prepare(self) -> None:
        lines = PurchaseOrderLine.objects.with_received().select_related(
            "order__supplier", "part__item", "product__item"
        )
        key = row_key(self.request.GET.get("line"))
        found = lines.filter(order__number=self.kwargs["number"]).order_by("pk")
        if key:
            found = found.filter(pk=key)
        self.line = get_object_or_404(found[:1])
        self.missing = self.line.missing

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "line": self.line}

    def get_initial(self) -> dict[str, Any]:
        if not self.missing:
            return {}
        return {"quantity": as_amount(self.missing, self.line.item)}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            line=self.line,
            order=self.line.order,
            missing=self.missing,
            missing_cents=purchase_orders.cost_of(self.line, self.missing),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> PurchaseReceipt:
        return purchase_orders.receive(
            line=self.line,
            quantity=data["quantity"],
            cost_cents=data["cost"],
            place=data["place"],
            received_on=data["received_on"],
            maker_lot=data.get("maker_lot", ""),
            best_by=data.get("best_by"),
            more_is_right=data["more_is_right"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: PurchaseReceipt) -> str:
        return _("%(thing)s received for order %(order)s.") % {
            "thing": made.line.thing.name,
            "order": made.line.order,
        }

    def posting_to_undo(self, made: PurchaseReceipt) -> Any:
        return made.receipt.posting

    def next_url(self, made: PurchaseReceipt) -> str:
        return reverse("billing:purchase_order", args=[self.line.order.number])

    def repeat_url(self, made: Any) -> str:
        return reverse("billing:purchase_order", args=[self.line.order.number])


@require_POST
@manages
def link_delivery(request: HttpRequest, number: str) -> HttpResponse:
    """Say that a delivery, recorded without the order, came for a line of it."""
    lines = PurchaseOrderLine.objects.select_related("order", "part", "product")
    line = get_object_or_404(lines.filter(order__number=number), pk=_sent(request, "line"))
    receipt = _sent(request, "receipt")
    try:
        if line.part_id:
            part_receipt = get_object_or_404(PartReceipt, pk=receipt)
            purchase_orders.link(line=line, part_receipt=part_receipt)
        else:
            goods_receipt = get_object_or_404(GoodsReceipt, pk=receipt)
            purchase_orders.link(line=line, goods_receipt=goods_receipt)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request, _("The delivery is linked to order %(order)s.") % {"order": line.order}
        )
    return redirect("billing:purchase_order", line.order.number)


def _sent(request: HttpRequest, name: str) -> int:
    """Return the key of a row that a button sent."""
    key = row_key(request.POST.get(name))
    if not key:
        raise Http404
    return key


# ------------------------------------------------------------------ bills


@require_GET
@manages
def bill_list(request: HttpRequest) -> HttpResponse:
    form = forms.BillFilterForm(request.GET)
    today = timezone.localdate()
    found = bill_queries.bills(on=today, **forms.asked(form))
    page = Paginator(found, PAGE_LENGTH).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page_obj": page,
        "rows": [(bill, bill_queries.state_of(bill, today)) for bill in page],
        "totals": bill_queries.totals(found),
        "owed": bill_queries.totals(bill_queries.bills(on=today, state="open")),
        "overdue": bill_queries.totals(bill_queries.bills(on=today, state="overdue")),
        "soon": bill_queries.totals(bill_queries.bills(on=today, state="soon")),
    }
    return render(request, "billing/buying/bills.html", context)


@require_GET
@manages
def bill_list_csv(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    found = bill_queries.bills(on=today, **forms.asked(forms.BillFilterForm(request.GET)))
    return csv_response("bills.csv", bill_queries.bill_rows(found, today))


@require_GET
@manages
def bill_detail(request: HttpRequest, pk: int) -> HttpResponse:
    bill = _bill(pk)
    today = timezone.localdate()
    context = {
        "bill": bill,
        "state": bill_queries.state_of(bill, today),
        "lines": bill.lines.select_related("season_expense"),
        "shares": bill_queries.payments_of(bill),
        "discount_cents": bills.discount_cents(bill, today),
    }
    return render(request, "billing/buying/bill.html", context)


def _bill(pk: int) -> SupplierBill:
    found = SupplierBill.objects.select_related("supplier", "entry", "undone_entry", "entered_by")
    return get_object_or_404(found, pk=pk)


def _asked_supplier(request: HttpRequest) -> Supplier | None:
    asked = request.GET.get("supplier", "")
    return get_object_or_404(Supplier, pk=row_key(asked)) if asked else None


class EnterBillView(ActView):
    """Enter a bill of a supplier. Without a supplier in the address, ask who sent it first."""

    permission_required = MANAGE
    form_class = forms.BillForm
    template_name = "billing/buying/bill_form.html"

    def prepare(self) -> None:
        self.supplier = _asked_supplier(self.request)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.supplier is None:
            context = {"form": forms.SupplierChoiceForm()}
            return render(request, "billing/buying/bill_who.html", context)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.supplier is None:
            return HttpResponseRedirect(request.path)
        return super().post(request, *args, **kwargs)

    @cached_property
    def deliveries(self) -> list[order_queries.ToBill]:
        since = timezone.localdate() - bill_queries.TO_BILL_SINCE
        return order_queries.to_bill(self.supplier, since=since)

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "deliveries": self.deliveries}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(supplier=self.supplier, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        self.lines = form.lines
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> SupplierBill:
        assert self.supplier is not None
        return bills.enter(
            supplier=self.supplier,
            number=data["number"],
            billed_on=data["billed_on"],
            due_on=data["due_on"],
            lines=self.lines,
            tax_cents=data["tax"] or 0,
            total_cents=data["total"],
            discount_percent=data["discount_percent"] or Decimal(0),
            discount_until=data["discount_until"],
            note=data["note"],
            entered_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: SupplierBill) -> str:
        return _("Bill %(bill)s of %(supplier)s is entered: %(total)s.") % {
            "bill": made,
            "supplier": made.supplier,
            "total": words.money(made.total_cents),
        }

    def next_url(self, made: SupplierBill) -> str:
        return reverse("billing:bill", args=[made.pk])

    repeat_url = next_url


class UndoBillView(ActView):
    """Undo a bill by the opposite entry."""

    permission_required = MANAGE
    form_class = forms.UndoEntryForm
    template_name = "billing/buying/undo.html"

    def prepare(self) -> None:
        self.bill = _bill(self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        bill = self.bill
        return super().get_context_data(
            heading=_("Undo bill %(bill)s of %(supplier)s")
            % {"bill": bill, "supplier": bill.supplier},
            changes=[
                (
                    _("No longer owed to %(supplier)s") % {"supplier": bill.supplier},
                    bill.total_cents,
                )
            ],
            back_url=reverse("billing:bill", args=[bill.pk]),
            button=_("Undo the bill"),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> SupplierBill:
        return bills.undo(
            bill=self.bill,
            undone_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: SupplierBill) -> str:
        return _("Bill %(bill)s is undone.") % {"bill": made}

    def next_url(self, made: SupplierBill) -> str:
        return reverse("billing:bill", args=[made.pk])

    repeat_url = next_url


class PaySupplierView(ActView):
    """Record money paid for the open bills of a supplier."""

    permission_required = MANAGE
    form_class = forms.PaySupplierForm
    template_name = "billing/buying/pay.html"

    def prepare(self) -> None:
        self.supplier = get_object_or_404(Supplier, pk=self.kwargs["pk"])
        self.open_bills = list(
            self.supplier.bills.filter(open_cents__gt=0).order_by("due_on", "id")
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "bills": self.open_bills}

    def get_initial(self) -> dict[str, Any]:
        first: dict[str, Any] = {}
        for bill in self.open_bills:
            if str(bill.pk) == self.request.GET.get("bill"):
                discount_cents = bills.discount_cents(bill, timezone.localdate())
                first[f"amount_{bill.pk}"] = bill.open_cents - discount_cents
                first[f"discount_{bill.pk}"] = discount_cents or None
        return first

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            supplier=self.supplier,
            open_cents=sum(bill.open_cents for bill in self.open_bills),
            today=timezone.localdate(),
            **kwargs,
        )

    def form_valid(self, form: Any) -> HttpResponse:
        self.shares = form.shares
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> SupplierPayment:
        return bills.pay(
            supplier=self.supplier,
            shares=self.shares,
            paid_by=data["paid_by"],
            paid_on=data["paid_on"],
            reference=data["reference"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: SupplierPayment) -> str:
        return _("%(amount)s to %(supplier)s recorded.") % {
            "amount": words.money(made.amount_cents),
            "supplier": made.supplier,
        }

    def next_url(self, made: SupplierPayment) -> str:
        return reverse("billing:supplier_payment", args=[made.pk])

    repeat_url = next_url


@require_GET
@manages
def payment_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(bill_queries.payments(), PAGE_LENGTH).get_page(request.GET.get("page"))
    return render(request, "billing/buying/payments.html", {"page_obj": page})


@require_GET
@manages
def payments_csv(request: HttpRequest) -> HttpResponse:
    found = bill_queries.payments()
    return csv_response("supplier-payments.csv", bill_queries.payment_rows(found))


@require_GET
@manages
def payment_detail(request: HttpRequest, pk: int) -> HttpResponse:
    payment = get_object_or_404(bill_queries.payments(), pk=pk)
    return render(request, "billing/buying/payment.html", {"payment": payment})


class UndoSupplierPaymentView(ActView):
    """Undo a payment to a supplier; its bills are open again."""

    permission_required = MANAGE
    form_class = forms.UndoEntryForm
    template_name = "billing/buying/undo.html"

    def prepare(self) -> None:
        found = SupplierPayment.objects.select_related("supplier", "entry")
        self.payment = get_object_or_404(found, pk=self.kwargs["pk"])
        self.shares = list(self.payment.allocations.select_related("bill"))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            heading=_("Undo the payment of %(amount)s to %(supplier)s")
            % {
                "amount": words.money(self.payment.amount_cents),
                "supplier": self.payment.supplier,
            },
            changes=[
                (
                    _("To be paid again on bill %(bill)s") % {"bill": share.bill},
                    share.amount_cents + share.discount_cents,
                )
                for share in self.shares
            ],
            back_url=self.next_url(self.payment),
            button=_("Undo the payment"),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> SupplierPayment:
        return bills.undo_payment(
            payment=self.payment,
            undone_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: SupplierPayment) -> str:
        return _("The payment of %(amount)s is undone.") % {
            "amount": words.money(made.amount_cents)
        }

    def next_url(self, made: SupplierPayment) -> str:
        return reverse("billing:supplier_payment", args=[made.pk])

    repeat_url = next_url


# ------------------------------------------------------------------ what suppliers are owed


@require_GET
@manages
def supplier_account(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what one supplier is owed, with their latest bills, payments and orders."""
    supplier = get_object_or_404(Supplier, pk=pk)
    today = timezone.localdate()
    latest = bill_queries.bills(on=today).filter(supplier=supplier).order_by("-billed_on", "-id")
    context = {
        "supplier": supplier,
        "open_cents": bill_queries.totals(latest).open_cents,
        "rows": [(bill, bill_queries.state_of(bill, today)) for bill in latest[:PAGE_LENGTH]],
        "payments": bill_queries.payments().filter(supplier=supplier)[:PAGE_LENGTH],
        "orders": order_queries.orders().filter(supplier=supplier)[:PAGE_LENGTH],
    }
    return render(request, "billing/buying/supplier.html", context)


@require_GET
@manages
def balances(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    since = today - bill_queries.TO_BILL_SINCE
    waiting = order_queries.to_bill(since=since)
    context = {
        "balances": bill_queries.balances(today),
        "waiting": waiting,
        "waiting_cents": order_queries.to_bill_cents(waiting),
        "since": since,
    }
    return render(request, "billing/buying/balances.html", context)


@require_GET
@manages
def balances_csv(request: HttpRequest) -> HttpResponse:
    found = bill_queries.balances(timezone.localdate())
    return csv_response("suppliers.csv", bill_queries.balance_rows(found))
