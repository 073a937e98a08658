from django.apps import AppConfig


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        from django.db.backends.signals import connection_created
        from django.db.models.signals import post_save
        from django.urls import reverse

        from inventory.bottling import found_things as found_in_bottling
        from inventory.bottling.services import retold_runs
        from inventory.shared import attachable, conventions, lost_network, sealable, whole_answers
        from inventory.stock import found_things as found_in_stock
        from inventory.stock import signals
        from inventory.stock.models import Lot, Posting, PostingLine
        from inventory.stock.services import lot_costs

        connection_created.connect(lost_network.end_soon, dispatch_uid="lost_network")
        connection_created.connect(whole_answers.plan_for_all, dispatch_uid="whole_answers")
        post_save.connect(lot_costs.keep, sender=Lot, dispatch_uid="lot_costs")
        found_in_stock.register()
        found_in_bottling.register()
        signals.entries_retold.connect(retold_runs.follow, dispatch_uid="runs")
        conventions.register_use("currency", Lot.objects.filter(cost_cents__isnull=False).exists)
        sealable.register(
            sealable.SealedKind(
                name="posting",
                title="Posting",
                model=Posting,
                line_model=PostingLine,
                owner="posting_id",
                columns={
                    1: sealable.SealedColumns(
                        own=(
                            *("kind", "occurred_at", "recorded_at", "recorded_by_id", "note"),
                            *("idempotency_key", "reverses_id", "counts_on", "took_all"),
                            *("corrects_id", "caused_by_id"),
                        ),
                        of_lines=("id", "item_id", "place_id", "lot_id", "quantity"),
                    )
                },
            )
        )
        attachable.register(
            "inventory.Lot",
            name="lot",
            add=("inventory.move_honey",),
            page=lambda lot: reverse(
                "inventory:lot_detail",
                args=[lot.code, lot.what] if lot.product else [lot.code],
            ),
        )
        attachable.register(
            "inventory.Supplier",
            name="supplier",
            add=("inventory.manage_suppliers",),
            page=lambda supplier: reverse("inventory:supplier_detail", args=[supplier.pk]),
        )
