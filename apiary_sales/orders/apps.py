from django.apps import AppConfig


class OrdersConfig(AppConfig):
    name = "apiary_sales.orders"

    def ready(self) -> None:
        from django.urls import reverse

        from apiary_sales.customers import personal_data
        from apiary_sales.customers.permissions import ANY_OF
        from apiary_sales.orders import found_things, mailed_papers
        from apiary_sales.orders.models import Order, OrderLine
        from apiary_sales.orders.queries import handed_over
        from apiary_sales.orders.queries import personal_data as held_data
        from apiary_sales.orders.services import followed_stock
        from apiary_sales.orders.services import personal_data as erasing
        from apiary_sales.orders.trade_models import ContractPriceStep
        from apiary_sales.pricing import sales_sources
        from inventory.shared import attachable, conventions
        from inventory.stock import signals

        personal_data.register(
            personal_data.DataHolder(
                held=held_data.held,
                still_needed=erasing.still_needed,
                erase=erasing.erase,
            )
        )
        signals.promise_moved.connect(followed_stock.promise_moved, dispatch_uid="orders")
        signals.reserved_drum_weighed.connect(followed_stock.drum_weighed, dispatch_uid="orders")
        signals.entries_retold.connect(followed_stock.entries_retold, dispatch_uid="orders")

        attachable.register(
            "orders.Order",
            name="order",
            see=ANY_OF,
            add=("orders.take_orders", "orders.quote_drums", "orders.fulfil_orders"),
            page=lambda order: reverse("orders:order_detail", args=[order.number]),
        )
        mailed_papers.register()
        sales_sources.register(handed_over.SOURCE)
        found_things.register()
        conventions.register_use("currency", Order.objects.exists)
        conventions.register_use("weight_unit", ContractPriceStep.objects.exists)
        conventions.register_use(
            "weight_unit", OrderLine.objects.filter(kind__in=OrderLine.BY_WEIGHT).exists
        )
        attachable.register(
            "orders.Contract",
            name="contract",
            see=ANY_OF,
            add=("orders.quote_drums",),
            page=lambda contract: reverse("orders:contract", args=[contract.number]),
        )
        attachable.register(
            "orders.ContractSample",
            name="sample",
            see=ANY_OF,
            add=("orders.quote_drums",),
            page=lambda sample: reverse("orders:contract", args=[sample.contract.number]),
        )
