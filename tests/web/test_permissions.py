"""Every address asks for a permission, or stands in the list of those open to all who sign in."""

from collections.abc import Iterator

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from apiary_sales.accounts.models import HouseSession, User

pytestmark = pytest.mark.django_db

# What everybody in the house may look at: their own account, help, what honey and stock there is,
# and the price lists. Writing anything, and all that is about money or buyers, needs a permission.
OPEN = {
    "accounts:access",
    "accounts:account",
    "accounts:add_passkey",
    "accounts:email",
    "accounts:forget_devices",
    "accounts:language",
    # Who lost a password cannot sign in; both say the same to everybody.
    "accounts:lost_password",
    "accounts:make_key",
    "accounts:new_password",
    "accounts:password",
    "accounts:recovery_codes",
    "accounts:remove_passkey",
    # How one signs in oneself.
    "accounts:second_step",
    "accounts:second_step_new_phone",
    "accounts:second_step_off",
    "accounts:sign_in",
    "accounts:sign_in_code",
    "accounts:sign_in_passkey",
    # One's own; there are no such of others, but for an owner.
    "accounts:revoke_key",
    "accounts:sign_out_device",
    "accounts:sign_out_others",
    "accounts:sign_out",
    "accounts:signed_out",
    "api:bottling-days",
    "api:honey",
    "api:place-contents",
    "api:place-postings",
    "api:dips",
    "api:dip",
    "api:lot-became",
    "api:lot-origins",
    "api:lot-story",
    "api:parts",
    "api:part",
    "api:goods-in-stock",
    "api:goods-item",
    "api:products-in-stock",
    "api:sizes-in-detail",
    "api:jars-to-do",
    "api:lot-jars",
    "api:bottling",
    "api:run-report",
    "api:bottling-day",
    "api:prices",
    "api:product-prices",
    "api:weight-prices",
    "api:weight-price-history",
    "api:today",
    "api:find",
    "api:me",
    "api:balance-list",
    "api:product-detail",
    "api:size-detail",
    "api:product-list",
    "api:size-list",
    "api:file",
    # Only who may attach files to a thing may remove them; there is none in this walk.
    "api:file-remove",
    "api:honey-flow",
    "api:honey-flow-entries",
    "api:lot-detail",
    "api:lot-files",
    "api:lot-list",
    "api:place-detail",
    "api:place-list",
    "api:posting-detail",
    "api:posting-list",
    "api:brand",
    "api:brands",
    "api:lot-certificate",
    "api:lot-measurements",
    "api:lot-warmings",
    "api:returned-jars",
    "api:run",
    "api:run-fill-checks",
    "api:fill-chart",
    "api:runs",
    # One's own address, with one's password.
    "api:own-email",
    "api:service",
    "api:services",
    "api:shortages",
    "api:varieties",
    "api:variety",
    "api:sessions",
    "api:tokens",
    "api:sign-out-others",
    "api:token-revoke",
    "api:session-sign-out",
    "api:schema",
    # What the API can be asked is told to everybody in the house.
    "api:docs",
    "api:docs-subject",
    "api:docs-tour",
    "api:token",
    # One's own long work; that of others is not found.
    "api:work",
    "api:work-file",
    "api:work-stop",
    "billing:stand_manifest",
    # It answers each person with what their own pages show.
    "finding:find",
    "inventory:bottling",
    # For whoever has a jar in hand, signed in or not: no more than a label says, and off at first.
    "inventory:jar_page",
    "inventory:jar_page_by_lot",
    "inventory:no_jar_page",
    # Only who began it and the owner see it: the page itself looks.
    "inventory:long_work",
    "inventory:long_work_file",
    "inventory:long_work_stop",
    # For whoever has the code that is printed on a receipt: what the paper says.
    "billing:read_receipt",
    "billing:no_read_receipt",
    "inventory:goods_detail",
    "inventory:goods_list",
    "inventory:size_list",
    "inventory:product_list",
    "inventory:variety_list",
    "inventory:brand_list",
    "inventory:certificate",
    "inventory:convert_capacity",
    "inventory:convert_dip",
    "inventory:convert_drum",
    "inventory:convert_receipt",
    "inventory:bottling_day",
    "inventory:bottling_day_list",
    "inventory:dip",
    "inventory:dip_detail",
    "inventory:dip_list",
    # Whether there is a file; one of a buyer or an order is refused to them.
    "inventory:file",
    "inventory:honey",
    # Sums of the entries, which are open to everybody who is signed in.
    "inventory:honey_flow",
    "inventory:honey_flow_csv",
    "inventory:honey_flow_entries",
    "inventory:jar_list",
    # To who began the work, and the owner; there is no such work for others.
    "inventory:lot_detail",
    "inventory:lot_jars",
    "inventory:lot_list",
    "inventory:part_detail",
    "inventory:part_list",
    "inventory:shortage_list",
    "inventory:place_detail",
    "inventory:places",
    "inventory:posting_detail",
    "inventory:posting_list",
    "inventory:fill_chart",
    "inventory:run_detail",
    "inventory:run_labels",
    "inventory:run_list",
    "inventory:stock_list",
    "pricing:prices",
    "pricing:product_prices",
    "pricing:services",
    "pricing:weight_prices",
    # For a monitor: "ok" or "degraded".
    "web:health",
    "web:help",
    "web:help_card",
    "web:help_topic",
    "web:settings",
    "web:today",
    "web:what_is_new",
}
SAMPLES = {"invoice": 1, "pk": 1, "year": 2026, "what": "moisture", "ending": "csv"}


def addresses(resolver=None, namespace: str = "") -> Iterator[tuple[str, str]]:
    """Yield the full name and a sample address of every page of our own."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver) and entry.namespace != "admin":
            inner = f"{namespace}{entry.namespace}:" if entry.namespace else namespace
            yield from addresses(entry, inner)
        elif isinstance(entry, URLPattern) and entry.name:
            name = f"{namespace}{entry.name}"
            arguments = entry.pattern.regex.groupindex
            yield name, reverse(name, kwargs={key: SAMPLES.get(key, "x") for key in arguments})


def test_nobody_without_permission_gets_further_than_what_is_open_to_all(client):
    newcomer = User.objects.create(username="newcomer")
    further = set()

    for name, url in addresses():
        for method in (client.get, client.post):
            # One of the addresses signs out.
            if not HouseSession.objects.exists():
                client.force_login(newcomer)
            if method(url).status_code not in (401, 403, 405):
                further.add(name)

    assert further == OPEN
