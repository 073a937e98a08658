from typing import Any

from django.apps import AppConfig


class FindingConfig(AppConfig):
    name = "apiary_sales.finding"

    def ready(self) -> None:
        from django.db.models.signals import post_delete, post_migrate, post_save

        from apiary_sales.finding.services import index
        from inventory.shared import findable

        # The apps below have registered before; with a sender each, so that all other models are
        # saved and deleted as before.
        for model in {kind.model_class for kind in findable.kinds()}:
            post_save.connect(index.follow_save, sender=model, dispatch_uid="finding")
            post_delete.connect(index.follow_delete, sender=model, dispatch_uid="finding")
        for model in {rows.model_class for kind in findable.kinds() for rows in kind.owned}:
            post_save.connect(index.follow_owned, sender=model, dispatch_uid="finding_owned")
            post_delete.connect(index.follow_owned, sender=model, dispatch_uid="finding_owned")
        findable.rows_written.connect(index.follow_rows, dispatch_uid="finding")
        findable.rows_erased.connect(index.follow_erasure, dispatch_uid="finding")
        post_migrate.connect(_fill, sender=self, dispatch_uid="finding")


def _fill(using: str, **_named: Any) -> None:
    """Make the index where a house has none yet, or one of an older layout."""
    from apiary_sales.finding.services import index

    index.bring_up_to_date(using=using)
