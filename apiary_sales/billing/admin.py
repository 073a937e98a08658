"""Bills, payments and the book of money in the back office: to be looked at, never changed."""

from django.contrib import admin

from apiary_sales.billing.models import (
    Allocation,
    ConsignmentReport,
    Entry,
    EntryLine,
    Invoice,
    InvoiceLine,
    Payment,
)
from inventory.shared.admin import ReadOnlyAdmin, ReadOnlyInline


class InvoiceLineInline(ReadOnlyInline):
    model = InvoiceLine
    raw_id_fields = ["fulfilment_line"]


class AllocationInline(ReadOnlyInline):
    model = Allocation


class EntryLineInline(ReadOnlyInline):
    model = EntryLine


@admin.register(Invoice)
class InvoiceAdmin(ReadOnlyAdmin):
    list_display = ["__str__", "customer", "issued_on", "due_on", "total_cents", "open_cents"]
    list_filter = ["series"]
    list_select_related = ["customer"]
    search_fields = ["customer__name", "order__number"]
    inlines = [InvoiceLineInline, AllocationInline]


@admin.register(Payment)
class PaymentAdmin(ReadOnlyAdmin):
    list_display = ["id", "customer", "method", "amount_cents", "received_on", "reference"]
    list_filter = ["method"]
    list_select_related = ["customer"]
    search_fields = ["customer__name", "reference"]
    inlines = [AllocationInline]


@admin.register(Entry)
class EntryAdmin(ReadOnlyAdmin):
    list_display = ["id", "kind", "entered_on", "invoice", "payment"]
    list_filter = ["kind"]
    list_select_related = ["invoice", "payment"]
    inlines = [EntryLineInline]


@admin.register(ConsignmentReport)
class ConsignmentReportAdmin(ReadOnlyAdmin):
    list_display = ["shelf", "sold_from", "sold_until", "invoice"]
    list_select_related = ["shelf__place", "invoice"]
