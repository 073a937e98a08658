from django.apps import AppConfig


class PricingConfig(AppConfig):
    name = "apiary_sales.pricing"

    def ready(self) -> None:
        from apiary_sales.pricing.models import (
            BulkPrice,
            ChannelCost,
            PiecePrice,
            SeasonExpense,
            Service,
            WeightPrice,
        )
        from inventory.shared import conventions

        for priced in (PiecePrice, BulkPrice, WeightPrice, SeasonExpense):
            conventions.register_use("currency", priced.objects.exists)
        conventions.register_use(
            "currency", Service.objects.filter(usual_price__isnull=False).exists
        )
        for by_weight in (BulkPrice, WeightPrice):
            conventions.register_use("weight_unit", by_weight.objects.exists)
        conventions.register_use("weight_unit", ChannelCost.objects.filter(per_pound__gt=0).exists)
