from django.apps import AppConfig
from django.apps import apps as global_apps
from django.db.models.signals import post_migrate, pre_save


def _make_groups(using: str, apps=global_apps, **kwargs) -> None:
    """Make the groups once the tables for them are there: one app may be migrated alone.

    After `flush`, Django sends the signal without `apps`: then all tables are there.
    """
    from apiary_sales.accounts import roles

    try:
        apps.get_model("auth", "Group")
    except LookupError:
        return
    roles.make_groups(using)


class AccountsConfig(AppConfig):
    name = "apiary_sales.accounts"

    def ready(self) -> None:
        # Runs for every app that is migrated, after auth has made that app's permissions.
        post_migrate.connect(_make_groups, dispatch_uid="accounts.make_groups")
        from axes.models import AccessAttempt

        from apiary_sales.accounts import locks
        from apiary_sales.accounts.services import sign_ins

        pre_save.connect(locks.keep_nothing_typed, sender=AccessAttempt)
        sign_ins.listen()
