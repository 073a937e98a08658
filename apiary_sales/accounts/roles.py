"""What each role may do, and what it may see. This is the only place that says so."""

from django.contrib.auth.models import Group, Permission
from django.db.models import Q

from apiary_sales.accounts.models import User

SELL = "orders.sell_at_stand"

ROLE_PERMISSIONS: dict[str, frozenset[str]] = {
    User.Role.OWNER: frozenset(
        {
            "accounts.manage_people",
            "inventory.use_every_place",
            "inventory.move_honey",
            "inventory.write_off",
            "inventory.adjust_stock",
            "inventory.enter_counts",
            "inventory.count_beyond_made",
            "inventory.reverse_posting",
            "inventory.run_bottling",
            "inventory.manage_parts",
            "inventory.manage_places",
            "inventory.manage_jar_page",
            "inventory.lock_books",
            "inventory.manage_suppliers",
            "inventory.manage_goods",
            "inventory.release_hold",
            "inventory.record_cleaning",
            "customers.manage_customers",
            "customers.erase_customers",
            "customers.view_customers",
            "pricing.manage_prices",
            "pricing.view_costs",
            "pricing.view_trade_prices",
            "orders.take_orders",
            "orders.quote_drums",
            "orders.fulfil_orders",
            "orders.sell_at_stand",
            "billing.issue_invoices",
            "billing.take_payments",
            "billing.view_money",
            "billing.manage_accounts",
            "billing.manage_purchases",
            "billing.accept_late_certificates",
            "imports.bring_in_lists",
            "keeping.keep_house",
            "webhooks.manage_webhooks",
        }
    ),
    User.Role.BOTTLING: frozenset(
        {
            "inventory.use_every_place",
            "inventory.move_honey",
            "inventory.write_off",
            "inventory.adjust_stock",
            "inventory.enter_counts",
            "inventory.reverse_posting",
            "inventory.run_bottling",
            "inventory.manage_parts",
            "inventory.manage_places",
            "inventory.manage_suppliers",
            "inventory.manage_goods",
            "inventory.record_cleaning",
            # They buy the parts, say what work costs, and pack what the papers of the trade name.
            "customers.view_customers",
            "pricing.view_costs",
            "pricing.view_trade_prices",
            "orders.fulfil_orders",
        }
    ),
    User.Role.STAND: frozenset(
        {
            "inventory.write_off",
            "inventory.enter_counts",
            "inventory.record_cleaning",
            "orders.sell_at_stand",
        }
    ),
    User.Role.OFFICE: frozenset(
        {
            "inventory.use_every_place",
            "inventory.move_honey",
            "inventory.adjust_stock",
            "inventory.enter_counts",
            # Like a release from a hold: not for those who fill the jars and count them.
            "inventory.count_beyond_made",
            "inventory.reverse_posting",
            "inventory.run_bottling",
            "inventory.manage_suppliers",
            "inventory.manage_goods",
            "inventory.release_hold",
            "inventory.record_cleaning",
            "customers.manage_customers",
            "customers.view_customers",
            "pricing.manage_prices",
            "pricing.view_costs",
            "pricing.view_trade_prices",
            "orders.take_orders",
            "orders.quote_drums",
            "orders.fulfil_orders",
            "orders.sell_at_stand",
            "billing.issue_invoices",
            "billing.take_payments",
            "billing.view_money",
            "billing.manage_purchases",
            "imports.bring_in_lists",
        }
    ),
}


def that_may(permission: str) -> list[str]:
    """Return the roles that have a permission."""
    return [role for role, names in ROLE_PERMISSIONS.items() if permission in names]


def group_name(role: str) -> str:
    """Return the name of the group that stands for a role."""
    return str(User.Role(role).value)


def make_groups(using: str = "default") -> None:
    """Make one group a role with exactly its permissions.

    Runs after every migrate. A permission whose model is not there yet is passed over, and given
    when the migrate that makes the model ends.
    """
    for role, names in ROLE_PERMISSIONS.items():
        group, _created = Group.objects.using(using).get_or_create(name=group_name(role))
        wanted = Q(pk__in=[])
        for name in names:
            app_label, codename = name.split(".")
            wanted |= Q(content_type__app_label=app_label, codename=codename)
        group.permissions.set(Permission.objects.using(using).filter(wanted))


def put_in_step(user: User) -> None:
    """Give a saved user the group of their role and no other role's; the owner alone is staff."""
    is_owner = user.role == User.Role.OWNER
    if (user.is_staff, user.is_superuser) != (is_owner, is_owner):
        user.is_staff = user.is_superuser = is_owner
        user.save(update_fields=["is_staff", "is_superuser"])
    group, _created = Group.objects.get_or_create(name=group_name(user.role))
    role_names = [group_name(role) for role in User.Role.values]
    user.groups.remove(*user.groups.filter(name__in=role_names).exclude(pk=group.pk))
    user.groups.add(group)
