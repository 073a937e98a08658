from typing import Any

from django.apps import AppConfig


class KeepingConfig(AppConfig):
    name = "apiary_sales.keeping"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate, pre_migrate

        from apiary_sales.accounts.services import sessions, sign_ins, tokens
        from apiary_sales.keeping import tidying
        from apiary_sales.webhooks.services import sending
        from inventory.shared.services import sent_forms

        for tidy in (
            sessions.clear_expired,
            tokens.clear_expired,
            sign_ins.prune,
            sending.prune,
            sent_forms.forget_old,
        ):
            tidying.register(tidy)
        pre_migrate.connect(_lift_triggers, sender=self, dispatch_uid="books")
        post_migrate.connect(_make_triggers, sender=self, dispatch_uid="books")


def _lift_triggers(using: str, plan: list[Any], **_named: Any) -> None:
    """Let migrations rewrite rows and rebuild tables; with none to do, nothing is lifted."""
    from apiary_sales.keeping import triggers

    if plan:
        triggers.lift(using)


def _make_triggers(using: str, **_named: Any) -> None:
    from apiary_sales.keeping import triggers

    triggers.make(using)
