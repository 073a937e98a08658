from django.apps import AppConfig


class BillingConfig(AppConfig):
    name = "apiary_sales.billing"

    def ready(self) -> None:
        from django.urls import reverse

        from apiary_sales.billing import found_things, mailed_papers
        from apiary_sales.billing.models import (
            Entry,
            EntryLine,
            Invoice,
            PurchaseOrderLine,
            SupplierBill,
        )
        from apiary_sales.billing.queries import personal_data as held_data
        from apiary_sales.billing.services import personal_data as erasing
        from apiary_sales.customers import personal_data
        from inventory.shared import attachable, conventions, sealable

        personal_data.register(
            personal_data.DataHolder(
                held=held_data.held,
                still_needed=erasing.still_needed,
            )
        )
        mailed_papers.register()
        found_things.register()
        sealable.register(
            sealable.SealedKind(
                name="entry",
                title="Entry",
                model=Entry,
                line_model=EntryLine,
                owner="entry_id",
                columns={
                    1: sealable.SealedColumns(
                        own=(
                            *("kind", "happened_on", "entered_on", "entered_at"),
                            *("invoice_id", "payment_id"),
                        ),
                        of_lines=(
                            *("id", "account", "detail", "customer_id", "supplier_id"),
                            "amount_cents",
                        ),
                    )
                },
            )
        )
        for priced in (Entry, Invoice, PurchaseOrderLine, SupplierBill):
            conventions.register_use("currency", priced.objects.exists)
        conventions.register_use(
            "weight_unit", PurchaseOrderLine.objects.filter(product__item__is_weighed=True).exists
        )

        manage = ("billing.manage_purchases",)
        attachable.register(
            "billing.PurchaseOrder",
            name="purchase-order",
            see=manage,
            add=manage,
            page=lambda order: reverse("billing:purchase_order", args=[order.number]),
        )
        attachable.register(
            "billing.SupplierBill",
            name="bill",
            see=manage,
            add=manage,
            page=lambda bill: reverse("billing:bill", args=[bill.pk]),
        )
        attachable.register(
            "billing.Expense",
            name="expense",
            see=manage,
            add=manage,
            page=lambda expense: reverse("billing:expense", args=[expense.pk]),
        )
