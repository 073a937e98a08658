"""What "Find anything" finds of money: bills of ours and of suppliers, payments and expenses."""

from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.billing.models import Expense, Invoice, Payment, SupplierPayment
from apiary_sales.billing.queries import receipts
from inventory.shared import findable
from inventory.shared.findable import Findable, SearchWords, ThingPage

SEE = ("billing.view_money",)
SELL = ("orders.sell_at_stand",)
BUY = ("billing.manage_purchases",)
RECEIPT = Q(series__startswith=Invoice.RECEIPT_PREFIX, credits=None)


def register() -> None:
    _register_bills_of_ours()
    findable.register(
        Findable(
            name="payment",
            number=180,
            label=gettext_lazy("Payments"),
            one=gettext_lazy("Payment"),
            model="billing.Payment",
            fields=("reference", "amount_cents", "on_top_cents"),
            # A check is known by what it says.
            reads=lambda payment: SearchWords(codes=(payment.reference,), cents=payment.face_cents),
            pages=(
                ThingPage(
                    SEE, lambda payment: reverse("billing:payment_detail", args=[payment.pk])
                ),
            ),
            title=lambda payment: _way(payment),
            line=_with_whom,
            day=lambda payment: payment.received_on,
            cents=lambda payment: payment.face_cents,
            along=("customer",),
        )
    )
    findable.register(
        Findable(
            name="bill",
            number=190,
            label=gettext_lazy("Bills of suppliers"),
            one=gettext_lazy("Bill of a supplier"),
            model="billing.SupplierBill",
            fields=("number", "total_cents"),
            reads=lambda bill: SearchWords(codes=(bill.number,), cents=bill.total_cents),
            pages=(ThingPage(BUY, lambda bill: reverse("billing:bill", args=[bill.pk])),),
            line=lambda bill: findable.in_one_line(bill.supplier.name, _undone(bill)),
            day=lambda bill: bill.billed_on,
            cents=lambda bill: bill.total_cents,
            along=("supplier",),
        )
    )
    findable.register(
        Findable(
            name="supplier_payment",
            number=200,
            label=gettext_lazy("Payments to suppliers"),
            one=gettext_lazy("Payment to a supplier"),
            model="billing.SupplierPayment",
            fields=("reference", "amount_cents"),
            reads=lambda payment: SearchWords(
                codes=(payment.reference,), cents=payment.amount_cents
            ),
            pages=(
                ThingPage(
                    BUY, lambda payment: reverse("billing:supplier_payment", args=[payment.pk])
                ),
            ),
            title=lambda payment: _way(payment),
            line=lambda payment: findable.in_one_line(payment.supplier.name, _undone(payment)),
            day=lambda payment: payment.paid_on,
            cents=lambda payment: payment.amount_cents,
            along=("supplier",),
        )
    )
    findable.register(
        Findable(
            name="expense",
            number=210,
            label=gettext_lazy("Expenses"),
            one=gettext_lazy("Expense"),
            model="billing.Expense",
            fields=("payee", "note", "amount_cents"),
            reads=lambda expense: SearchWords(
                words=(expense.payee, expense.note), cents=expense.amount_cents
            ),
            pages=(ThingPage(BUY, lambda expense: reverse("billing:expense", args=[expense.pk])),),
            title=lambda expense: expense.payee,
            line=_what_was_spent,
            day=lambda expense: expense.spent_on,
            cents=lambda expense: expense.amount_cents,
        )
    )
    findable.register(
        Findable(
            name="purchase_order",
            number=220,
            label=gettext_lazy("Orders from suppliers"),
            one=gettext_lazy("Order from a supplier"),
            model="billing.PurchaseOrder",
            fields=("number",),
            reads=lambda order: SearchWords(codes=(order.number,)),
            pages=(
                ThingPage(
                    BUY, lambda order: reverse("billing:purchase_order", args=[order.number])
                ),
            ),
            line=lambda order: findable.in_one_line(
                order.supplier.name, str(order.get_status_display())
            ),
            day=lambda order: order.ordered_on,
            along=("supplier",),
        )
    )


def _register_bills_of_ours() -> None:
    """Register the three that are rows of one table."""
    ours: dict[str, Any] = {
        "model": "billing.Invoice",
        "fields": ("series", "number", "opening_number", "total_cents"),
        "reads": lambda bill: SearchWords(codes=(str(bill),), cents=bill.total_cents),
        "day": lambda bill: bill.issued_on,
        "cents": lambda bill: bill.total_cents,
    }
    in_money = ThingPage(SEE, lambda bill: reverse("billing:invoice_detail", args=[bill.pk]))
    findable.register(
        Findable(
            name="invoice",
            number=150,
            label=gettext_lazy("Invoices"),
            one=gettext_lazy("Invoice"),
            pages=(in_money,),
            line=_with_whom,
            along=("customer",),
            belongs=lambda bill: not bill.is_credit_note and not bill.is_receipt,
            where=Q(credits=None) & ~RECEIPT,
            **ours,
        )
    )
    findable.register(
        Findable(
            name="receipt",
            number=160,
            label=gettext_lazy("Receipts"),
            one=gettext_lazy("Receipt"),
            pages=(
                ThingPage(SELL, lambda bill: reverse("billing:receipt", args=[bill.pk])),
                in_money,
            ),
            line=_sold_where,
            along=("customer", "stand_sale__place"),
            belongs=lambda bill: bill.is_receipt and not bill.is_credit_note,
            where=RECEIPT,
            seen_by=_receipts_seen_by,
            **ours,
        )
    )
    findable.register(
        Findable(
            name="credit_note",
            number=170,
            label=gettext_lazy("Credit notes"),
            one=gettext_lazy("Credit note"),
            pages=(in_money,),
            line=lambda bill: findable.in_one_line(
                _with_whom(bill), _("for %(bill)s") % {"bill": bill.credits}
            ),
            along=("customer", "credits"),
            belongs=lambda bill: bill.is_credit_note,
            where=Q(credits__isnull=False),
            **ours,
        )
    )


def _receipts_seen_by(user: Any) -> QuerySet[Invoice] | None:
    sees_all = any(user.has_perm(permission) for permission in SEE)
    return None if sees_all else receipts.seen_by(user)


def _with_whom(document: Invoice | Payment) -> str:
    return document.customer.name if document.customer else _("at the stand")


def _sold_where(bill: Invoice) -> str:
    sale = getattr(bill, "stand_sale", None)
    name = bill.customer.name if bill.customer else ""
    return findable.in_one_line(sale.place.name if sale else _("at the stand"), name)


def _way(payment: Payment | SupplierPayment) -> str:
    way = (
        payment.get_method_display()
        if isinstance(payment, Payment)
        else payment.get_paid_by_display()
    )
    return f"{way} {payment.reference}".strip().capitalize()


def _undone(document: Any) -> str:
    return _("undone") if document.is_undone else ""


def _what_was_spent(expense: Expense) -> str:
    return findable.in_one_line(str(expense.get_category_display()), expense.note, _undone(expense))
