"""Upgrade the database of DATABASE_URL and prove its books; open every page, write every paper.

Run it with `manage.py shell`. It prints a line for each fault and then what it opened, and exits
with 1 where there is a fault. Models are found by app and name, whatever module they are in.
"""

import contextlib
import io
import logging
from collections import Counter
from collections.abc import Iterator
from datetime import time, timedelta
from decimal import Decimal
from typing import Any

import time_machine
from django.apps import apps
from django.conf import settings
from django.contrib import admin
from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import F, Max
from django.http import HttpResponse
from django.test import Client
from django.test.utils import setup_test_environment
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone, translation

from apiary_sales.api import subjects
from apiary_sales.billing import papers
from apiary_sales.billing.services import (
    corrected_invoices,
    deposit_slips,
    handed_in,
    honesty_boxes,
    market_days,
    money_moves,
    purchase_orders,
    stand_days,
    stand_marks,
)
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.queries import orders
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import consignments, rounds
from apiary_sales.pricing.models import priced_products
from apiary_sales.web.help import cards, contents
from inventory.shared import documents, mailable
from inventory.stock.blends import BlendLimits
from inventory.stock.services import blend_plans, count_sheets, suppliers
from tests import print_once, printed_lines
from tests.upgrade import bill_data, databases, side_by_side

Arguments = dict[str, Any]

# A page; the way to another page; an address that only takes what a form sends.
EXPECTED = (200, 302, 405)
# What the back office lets nobody add, change or delete.
EXPECTED_IN_ADMIN = (*EXPECTED, 403)

# Addresses of things that the first dumps have no rows of; they are opened where there are rows.
LATER = {
    "accounts:person_access",
    "accounts:remove_second_step",
    "accounts:sign_out_device",
    "accounts:sign_out_person",
    "api:certificate",
    "api:brand",
    "api:certificate-invoices",
    "api:customer-account",
    "api:customer-statement",
    "api:dip",
    "api:dip-chart",
    "api:dip-chart-paper",
    "api:import-bad-rows",
    "api:label-sheet",
    "api:label-sheet-test",
    "api:lot-jars",
    "api:lot-became",
    "api:lot-origins",
    "api:lot-story",
    "api:order-payments",
    "api:owner-statement",
    "api:owner-statement-paper",
    "api:part",
    "api:payment",
    "api:person",
    "api:personal-data",
    "api:personal-data-file",
    "api:pick-list",
    "api:pick-list-paper",
    "api:pickup",
    "api:place-contents",
    "api:place-postings",
    "api:product-for-sale",
    "api:product-margin",
    "api:product-prices",
    "api:recall-record-paper",
    "api:receipt",
    "api:receipt-paper",
    "api:run-report",
    "api:service",
    "api:season-cost",
    "api:stand-day-paper",
    "api:stand-day-report",
    "api:supplier",
    "api:supplier-account",
    "accounts:remove_passkey",
    "api:webhook",
    "api:webhook-change",
    "api:webhook-delivery",
    "api:webhook-off",
    "api:webhook-on",
    "api:webhook-renew",
    "api:webhook-send-again",
    "api:webhook-test",
    "webhooks:again",
    "webhooks:change",
    "webhooks:delivery",
    "webhooks:endpoint",
    "webhooks:off",
    "webhooks:on",
    "webhooks:renew",
    "webhooks:test",
    "accounts:revoke_key",
    "api:token-revoke",
    "api:adjustment-undo",
    "api:cash-count-undo",
    "api:deposit-undo",
    "api:money-move",
    "api:money-move-undo",
    "api:opening-amount-undo",
    "api:opening-take-back",
    "billing:adjustment",
    "billing:cash_count_undo",
    "billing:deposit_slip",
    "billing:deposit_slip_pdf",
    "billing:deposit_slip_undo",
    "billing:money_move",
    "billing:money_move_undo",
    "billing:good",
    "billing:opening_amount_undo",
    "billing:opening_take_back",
    "api:payment-good",
    "api:email",
    "api:email-again",
    "api:email-bounce",
    "api:email-paper",
    "api:reminder-pause-end",
    "mailing:bounce",
    "mailing:email",
    "mailing:email_paper",
    "mailing:pause_end",
    "mailing:resend",
    "api:blend-plan",
    "api:blend-plan-carry-out",
    "api:blend-plan-change",
    "api:blend-plan-drop",
    "api:blend-plan-worksheet",
    "api:cleaning-remove",
    "api:goods-receipt-correct",
    "inventory:goods_receipt_correct",
    "api:cleaning-task",
    "api:warming-remove",
    "inventory:cleaning_record",
    "inventory:cleaning_remove",
    "inventory:cleaning_task_edit",
    "inventory:warming_remove",
    "api:boxes-apart",
    "api:boxes-make",
    "api:brand-customer",
    "api:lot-ready",
    "api:returned-decide",
    "inventory:blend_plan",
    "inventory:blend_plan_carry_out",
    "inventory:blend_plan_change",
    "inventory:blend_plan_drop",
    "inventory:blend_plan_worksheet",
    "api:shortage-lot",
    "api:shortage-settle",
    "inventory:shortage_lot",
    "inventory:shortage_settle",
    "inventory:bottling_day",
    "inventory:bottling_day_drop",
    "inventory:bottling_day_edit",
    "inventory:file",
    "inventory:file_remove",
    "imports:bad_rows",
    "imports:bring_in",
    "imports:columns",
    "imports:detail",
    "imports:drop",
    "imports:undo",
    "keeping:backup_file",
    "inventory:long_work",
    "inventory:long_work_file",
    "inventory:long_work_stop",
    "inventory:goods_detail",
    "inventory:lot_ready",
    "inventory:goods_edit",
    "inventory:measurement_remove",
    "inventory:jars_returned",
    "inventory:box_edit",
    "inventory:box_switch",
    "inventory:boxes_make",
    "inventory:boxes_apart",
    "inventory:variety_edit",
    "inventory:brand_edit",
    "pricing:private_label_set",
    "api:delivery-address-remove",
    "api:file",
    "customers:address_remove",
    "pricing:service_change",
    "api:expense",
    "api:expense-undo",
    "api:purchase-link",
    "api:purchase-order",
    "api:purchase-order-close",
    "api:purchase-order-paper",
    "api:purchase-receive",
    "api:recurring-enter",
    "api:recurring-expense",
    "api:recurring-skip",
    "api:supplier-bill",
    "api:supplier-bill-undo",
    "api:supplier-payment",
    "api:supplier-payment-undo",
    "billing:bill",
    "billing:bill_undo",
    "billing:expense",
    "billing:expense_undo",
    "billing:purchase_order",
    "billing:purchase_order_change",
    "billing:purchase_order_close",
    "billing:purchase_order_link",
    "billing:purchase_order_pdf",
    "billing:purchase_order_receive",
    "billing:recurring_change",
    "billing:recurring_enter",
    "billing:recurring_skip",
    "billing:supplier_payment",
    "billing:supplier_payment_undo",
    "api:late-costing-undo",
    "orders:late_costing",
    "orders:late_costing_undo",
    "api:consignment-bring-back",
    "api:consignment-cancel",
    "api:consignment-deliver",
    "api:consignment-deliveries",
    "api:consignment-paper",
    "api:consignment-prices",
    "api:consignment-reports",
    "api:consignment-delivery",
    "api:consignment-shelf",
    "api:contract",
    "api:contract-end",
    "api:standing-order",
    "api:contract-samples",
    "api:call-offs",
    "api:standing-order-change",
    "api:standing-order-pause",
    "api:standing-order-leave-out",
    "api:delivery-round",
    "api:load-list",
    "api:round-stop-deliver",
    "billing:consignment_report",
    "orders:consignment_bring_back",
    "orders:consignment_deliver",
    "orders:consignment_delivery",
    "orders:consignment_delivery_cancel",
    "orders:consignment_delivery_deliver",
    "orders:consignment_delivery_pdf",
    "orders:consignment_price",
    "orders:consignment_shelf",
    "orders:contract",
    "orders:contract_call_off",
    "orders:contract_end",
    "orders:contract_sample",
    "orders:load_list_pdf",
    "orders:round",
    "orders:round_change",
    "orders:round_stop_deliver",
    "orders:standing",
    "orders:standing_change",
    "orders:standing_leave_out",
    "orders:standing_pause",
    "api:market-day",
    "api:market-day-change",
    "api:market-day-goods",
    "api:market-day-load",
    "api:market-day-load-undo",
    "api:market-day-unload",
    "api:market-day-unload-undo",
    "api:market-day-costs",
    "api:market-day-close",
    "api:market-day-cancel",
    "api:honesty-box-put-away",
    "api:honesty-box-counts",
    "api:honesty-count-undo",
    "billing:market_day",
    "billing:market_day_change",
    "billing:market_day_list_goods",
    "billing:market_load_list_pdf",
    "billing:market_day_load",
    "billing:market_day_load_undo",
    "billing:market_day_unload",
    "billing:market_day_unload_undo",
    "billing:market_day_cost",
    "billing:market_day_close",
    "billing:market_day_cancel",
    "billing:honesty_box",
    "billing:honesty_box_count",
    "billing:honesty_box_put_away",
    "billing:honesty_count_undo",
    "billing:drum_lost",
    "billing:deposit_keep_undo",
    "api:keep-deposit-undo",
    "api:return-approve",
    "api:return-give-back",
    "api:return-refuse",
    "api:return-request",
    "billing:return_decide",
    "billing:return_request",
    "billing:stand_pickup_done",
    "billing:stand_pickup_pdf",
}

# Addresses of the API that are opened for the same rows as another.
OPENED_LIKE = {
    "api:person": "accounts:person",
    "api:place-contents": "inventory:place_detail",
    "api:place-postings": "inventory:place_detail",
    "api:dip-chart": "inventory:dip_chart",
    "api:dip-chart-paper": "inventory:dip_chart_pdf",
    "api:dip": "inventory:dip_detail",
    "api:lot-became": "api:lot-detail",
    "api:lot-origins": "api:lot-detail",
    "api:lot-story": "api:lot-detail",
    "api:supplier": "inventory:supplier_detail",
    "api:owner-statement": "inventory:owner_statement",
    "api:owner-statement-paper": "inventory:owner_statement_pdf",
    "api:part": "inventory:part_detail",
    "api:brand": "inventory:brand_edit",
    "api:variety": "inventory:variety_edit",
    "api:service": "pricing:service_change",
    "api:goods-item": "inventory:goods_detail",
    "api:lot-jars": "inventory:lot_jars",
    "api:run-report": "inventory:run_detail",
    "api:bottling-day": "inventory:bottling_day",
    "api:label-sheet": "inventory:label_sheet_edit",
    "api:label-sheet-test": "inventory:label_sheet_test",
    "api:receipt": "billing:receipt",
    "api:receipt-paper": "billing:receipt_pdf",
    "api:stand-day-report": "billing:stand_day",
    "api:stand-day-paper": "billing:stand_day_pdf",
    "api:pickup": "billing:stand_pickup",
    "api:pickup-done": "billing:stand_pickup_done",
    "api:pickup-invoice-paper": "billing:stand_pickup_pdf",
    "api:market-load-list": "billing:market_load_list_pdf",
    "api:customer-account": "billing:statement",
    "api:customer-statement": "billing:statement",
    "api:certificate-invoices": "billing:late_certificate",
    "api:payment": "billing:payment_detail",
    "api:order-payments": "orders:order_detail",
    "api:adjustment": "billing:adjustment",
    "api:deposit-slip": "billing:deposit_slip",
    "api:deposit-slip-paper": "billing:deposit_slip_pdf",
    "api:supplier-account": "billing:supplier_account",
    "api:product-prices": "pricing:product_prices",
    "api:season-cost": "pricing:season",
    "api:product-margin": "pricing:product_margin",
    "api:product-for-sale": "orders:stock_detail",
    "api:pick-list": "orders:pick_list",
    "api:pick-list-paper": "orders:pick_list_pdf",
    "api:late-costing": "orders:late_costing",
    "api:late-costing-lines": "orders:late_costing",
    "api:recall-record-paper": "recall:record_pdf",
    "api:certificate": "customers:certificate",
    "api:personal-data": "customers:personal_data",
    "api:personal-data-file": "customers:personal_file",
    "api:backup": "keeping:backup_file",
    "api:backup-file": "keeping:backup_file",
    "api:work": "inventory:long_work",
    "api:work-file": "inventory:long_work_file",
    "api:import": "imports:detail",
    "api:import-bad-rows": "imports:detail",
}

# The roles that may sell at the stand.
SELLS = ["owner", "office", "stand"]
# What the pages of places show: what is inside the house.
VESSELS = ["tank", "drum", "pail", "tote"]
# Orders that are billed after they are taken.
LATER_PAID = ["shop", "delivery", "bulk"]
FOR_GOODS = ["shelf", "stand", "van", "consignment"]
PLACES = [*VESSELS, *FOR_GOODS]
PAPERS = {
    f"documents/{path.name}"
    for path in (settings.BASE_DIR / "templates" / "documents").glob("[!_]*.html")
} - {"documents/base.html", "documents/unavailable.html"}


def main(*, opens_pages: bool = True, checks_bills: bool = False) -> None:
    with (
        time_machine.travel(databases.MADE_AT + timedelta(hours=1)),
        print_once.each_paper_once(),
    ):
        upgrade = Upgrade()
        faults = [*upgrade.faults(), *(_open_everything() if opens_pages else ())]
        faults += bill_data.faults() if checks_bills else ()
    _tell(faults)


def side_by_side_main(urls: dict[str, str]) -> None:
    """Upgrade several databases, each with its address: those of the oldest version first."""
    faults = []
    with time_machine.travel(databases.MADE_AT + timedelta(hours=1)):
        opened = {house: side_by_side.connected(url) for house, url in urls.items()}
        upgrades = {}
        for house, database in opened.items():
            with side_by_side.as_default(database):
                upgrades[house] = Upgrade()
        side_by_side.migrate(list(opened.values()))
        for house, database in opened.items():
            ContentType.objects.clear_cache()
            with side_by_side.as_default(database):
                faults += [f"{house}: {fault}" for fault in upgrades[house].faults()]
            database.close()
    _tell(faults)


def _tell(faults: list[str]) -> None:
    for fault in faults:
        print(fault)
    raise SystemExit(1 if faults else 0)


class Upgrade:
    """An upgrade of the database here: what was in it before, and whether it is there after."""

    def __init__(self) -> None:
        self.before = _rows_by_table()
        for table, count in _rows_of_gone_apps().items():
            self.before[table] -= count
        self.typed = _suppliers_typed()

    def faults(self) -> Iterator[str]:
        """Migrate, and yield what is lost or wrong."""
        applied = MigrationRecorder(connection).applied_migrations().keys()
        call_command("migrate", verbosity=0, interactive=False)
        if applied != MigrationRecorder(connection).applied_migrations().keys():
            yield from _uncounted()
        yield from _lost_suppliers(self.typed)
        after = _rows_by_table()
        for table, count in self.before.items():
            if table in after and after[table] < count:
                yield f"{table} had {count} rows and has {after[table]}"
        # The trail of changes and permissions point at models by content type.
        for content_type in ContentType.objects.all():
            if content_type.model_class() is None:
                yield f"The content type {content_type.app_label}.{content_type.model} has no model"
        yield from _unread_changes()
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                call_command("verify_ledger")
        except (CommandError, DatabaseError) as error:
            yield f"verify_ledger: {error}"


def _uncounted() -> Iterator[str]:
    """Name the table of lines, where its indexes were not counted after the upgrade."""
    counted = {
        "sqlite": "SELECT count(*) FROM sqlite_stat1 WHERE tbl = %s",
        "postgresql": "SELECT count(last_analyze) FROM pg_stat_user_tables WHERE relname = %s",
    }
    with connection.cursor() as cursor:
        cursor.execute(counted[connection.vendor], ["inventory_postingline"])
        if not cursor.fetchone()[0]:
            yield "inventory_postingline was not counted"


def _suppliers_typed() -> dict[int, str]:
    """Type a supplier at some receipts of parts where a version keeps text; return all of them."""
    with connection.cursor() as cursor:
        columns = connection.introspection.get_table_description(cursor, "inventory_partreceipt")
        if "supplier" not in {column.name for column in columns}:
            return {}
        cursor.execute("SELECT id FROM inventory_partreceipt ORDER BY id")
        keys = [row[0] for row in cursor.fetchall()]
        texts = ["Valley Glass", "valley glass", "Valley Glass", *[""] * len(keys)]
        typed = dict(zip(keys, texts, strict=False))
        for key, text in typed.items():
            cursor.execute(
                "UPDATE inventory_partreceipt SET supplier = %s WHERE id = %s", [text, key]
            )
    return typed


def _lost_suppliers(typed: dict[int, str]) -> Iterator[str]:
    """Name each receipt without the supplier that was typed: one a text, letter by letter."""
    receipts = apps.get_model("inventory.PartReceipt").objects.filter(pk__in=typed)
    for receipt in receipts.select_related("supplier"):
        name = receipt.supplier.name if receipt.supplier else ""
        if name != typed[receipt.pk]:
            yield f"{receipt} came from “{typed[receipt.pk]}” and is now from “{name}”"


def _add_what_is_new() -> None:
    """Add what no older version has, so that its pages and papers are opened too."""
    if not apps.get_model("inventory.Supplier").objects.exists():
        suppliers.add(name="Hanna Birch", kind="beekeeper")
    if not apps.get_model("inventory.CountSheet").objects.exists():
        count_sheets.open_sheet(
            name="Year end",
            is_blind=False,
            opened_by=apps.get_model("accounts.User").objects.get(role="owner"),
            key="walk:count",
        )
    if not apps.get_model("billing.PurchaseOrder").objects.exists():
        _order_parts()
    if not apps.get_model("orders.ConsignmentShelf").objects.exists():
        _bring_jars_to_a_shop()
    if not apps.get_model("billing.MarketDay").objects.exists():
        _go_to_a_market()
    if not apps.get_model("billing.MoneyMove").objects.exists():
        money_moves.move(
            from_account="owner",
            to_account="cash",
            cents=100,
            moved_by=apps.get_model("accounts.User").objects.get(role="owner"),
            key="walk:money-move",
        )
    if not apps.get_model("billing.StandDay").objects.exists():
        _keep_stand_days()
    if not apps.get_model("billing.SaleMark").objects.exists():
        _keep_sales_to_look_at()
    if not apps.get_model("billing.DepositSlip").objects.exists():
        deposit_slips.deposit(
            checks=[],
            cash_cents=100,
            deposited_by=apps.get_model("accounts.User").objects.get(role="owner"),
            key="walk:deposit-slip",
        )


def _keep_stand_days() -> None:
    """Open two days at a stand, and close one of them."""
    person = apps.get_model("accounts.User").objects.get(role="owner")
    place = apps.get_model("inventory.Place").objects.filter(kind="stand").earliest("pk")
    today = timezone.localdate()
    for day in (today - timedelta(days=1), today):
        opened = stand_days.open_day(
            place=place, day=day, float_cents=100, opened_by=person, key=f"walk:stand-day-{day}"
        )
    stand_days.move_cash(
        stand_day=opened, kind="change", cents=100, moved_by=person, key="walk:stand-cash"
    )
    stand_days.close(
        stand_day=place.stand_days.earliest("day"),
        counted_cents=0,
        note="A hole in the drawer",
        closed_by=person,
        key="walk:stand-close",
    )


def _keep_sales_to_look_at() -> None:
    """Mark a sale at the stand, and give one to the office."""
    stand_marks.keep(
        apps.get_model("billing.StandSale").objects.earliest("pk"),
        [stand_marks.MarkFound("price", "Sold at another price")],
    )
    handed_in.hand_in(
        key="walk:handed-in",
        body={"lines": []},
        text="Two jars",
        handed_in_by=apps.get_model("accounts.User").objects.get(role="owner"),
    )


def _order_parts() -> None:
    """Place a purchase order, whose paper no older version has."""
    purchase_orders.place(
        supplier=apps.get_model("inventory.Supplier").objects.earliest("pk"),
        lines=[
            purchase_orders.LineOrdered(
                apps.get_model("inventory.PackagingPart").objects.earliest("pk"),
                500,
                Decimal("0.4"),
            )
        ],
        ordered_by=apps.get_model("accounts.User").objects.get(role="owner"),
        key="walk:purchase-order",
    )


def _bring_jars_to_a_shop() -> None:
    """Plan a delivery to a shop's shelf and a round that brings it."""
    person = apps.get_model("accounts.User").objects.get(role="owner")
    shop = apps.get_model("customers.Customer").objects.filter(is_active=True).first()
    delivery = consignments.plan(
        shelf=consignments.set_up(customer=shop, key="walk:shelf"),
        lines=[PiecesWanted(priced_products().filter(brand=None)[0], 2)],
        created_by=person,
        key="walk:delivery",
    )
    rounds.plan(
        day=delivery.planned_on,
        vehicle="Blue van",
        stops=[delivery],
        created_by=person,
        key="walk:round",
    )


def _go_to_a_market() -> None:
    """Plan a market day, whose load list no older version has, and set up a honesty box."""
    person = apps.get_model("accounts.User").objects.get(role="owner")
    places = apps.get_model("inventory.Place").objects.filter(is_active=True)
    stand = places.filter(kind__in=("stand", "van")).earliest("pk")
    market_days.plan(
        place=stand,
        source=places.filter(kind="shelf").earliest("pk"),
        day=timezone.localdate(),
        market="Mill Square",
        opens_at=time(8),
        closes_at=time(13),
        lines=[PiecesWanted(priced_products().filter(brand=None)[0], 2)],
        planned_by=person,
        key="walk:market-day",
    )
    honesty_boxes.set_up(place=stand, set_up_by=person, key="walk:honesty-box")


def _unread_changes() -> Iterator[str]:
    """Name each field in the trail of changes that its model no longer calls so."""
    entries = apps.get_model("auditlog.LogEntry").objects.select_related("content_type")
    for entry in entries:
        model = entry.content_type.model_class()
        known = {field.name for field in model._meta.get_fields()} if model else set()
        for name in set(entry.changes or {}) - known:
            yield f"The trail of {entry.content_type.model} has a change of “{name}”, not a field"


def _rows_by_table() -> dict[str, int]:
    with connection.cursor() as cursor:
        counts = {}
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT count(*) FROM {connection.ops.quote_name(table)}")
            counts[table] = cursor.fetchone()[0]
    return counts


def _rows_of_gone_apps() -> dict[str, int]:
    """Return what an upgrade removes with the two apps whose tables ours took the place of."""
    gone = {"app_label__in": ["authtoken", "sessions"]}
    kinds = ContentType.objects.filter(**gone)
    allowed = Permission.objects.filter(content_type__in=kinds)
    return {"django_content_type": kinds.count(), "auth_permission": allowed.count()}


def _open_everything() -> Iterator[str]:
    setup_test_environment()
    _add_what_is_new()
    # What goes wrong is told below, a line an address.
    logging.disable()
    client = Client(raise_request_exception=False)
    _put_files_back()
    client.force_login(apps.get_model("accounts.User").objects.get(role="owner"))
    rendered: set[str] = set()
    opened = 0
    for url, expected in [*_addresses(client), *_admin_addresses()]:
        answer = client.get(url)
        opened += 1
        rendered.update(template.name for template in answer.templates if template.name)
        # Whoever is not between the two steps of signing in is led to the first.
        is_led_back = url == reverse("accounts:sign_in_code") and answer.status_code == 302
        is_wrong = answer.status_code not in expected or _is_signed_out(answer)
        if is_wrong and not is_led_back:
            yield f"{url} answers {answer.status_code}{_reason(answer)}"
        elif _is_pdf(answer) and answer.content[:5] != b"%PDF-":
            yield f"{url} is no PDF"
    yield from _lines_that_do_not_multiply_out()
    for paper in sorted(PAPERS - rendered):
        yield f"No row of the database leads to the paper {paper}"
    print(f"Opened {opened} addresses, {len(rendered)} templates.")


def _lines_that_do_not_multiply_out() -> Iterator[str]:
    """Name each line of a paper that is wrong for a buyer who multiplies it out."""
    with translation.override("en"):
        for bill in apps.get_model("billing.Invoice").objects.all():
            context = papers.invoice_context(bill)
            html = documents.render_html(papers.invoice_template(bill), context)
            if bill.is_receipt:
                context = papers.receipt_context(bill)
                html += documents.render_html("documents/receipt.html", context)
            for text in printed_lines.faults(html):
                yield f"{bill} prints a line that does not multiply out: {text}"
        for order in orders.for_page():
            context = order_papers.quote_context(order)
            html = documents.render_html("documents/quote.html", context)
            if papers.has_pro_forma(order):
                context = papers.pro_forma_context(order)
                html += documents.render_html("documents/pro_forma.html", context)
            for text in printed_lines.faults(html):
                yield f"Order {order} prints a line that does not multiply out: {text}"


def _put_files_back() -> None:
    """Put something where the attached files were: a dump is of the database alone."""
    for attachment in apps.get_model("inventory.Attachment").objects.all():
        kept = attachment.file
        if not kept.storage.exists(kept.name):
            kept.storage.save(kept.name, ContentFile(b"%PDF-1.7\n%%EOF\n"))


def _is_signed_out(answer: HttpResponse) -> bool:
    return answer.status_code == 302 and reverse("accounts:sign_in") in answer["Location"]


def _reason(answer: HttpResponse) -> str:
    if not getattr(answer, "exc_info", None):
        return ""
    kind, error, _traceback = answer.exc_info
    return f": {kind.__name__}: {error}"


def _addresses(client: Client) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Yield every address of our own, for real rows of each kind, with the answers to expect."""
    arguments = _arguments(client)
    for name, takes_arguments in _names():
        expected = _expected(name)
        if not takes_arguments:
            yield reverse(name), expected
            continue
        is_later = name in LATER or OPENED_LIKE.get(name) in LATER
        if name not in arguments or not (arguments[name] or is_later):
            raise SystemExit(f"{name}: say in {__name__} which rows it is opened for.")
        for kwargs in arguments[name]:
            yield reverse(name, kwargs=kwargs), expected
    for receipt in arguments["billing:receipt"]:
        yield f"{reverse('billing:receipt_pdf', kwargs=receipt)}?paper=58", EXPECTED
    for customer in arguments["customers:detail"]:
        yield f"{reverse('billing:payment_create')}?customer={customer['pk']}", EXPECTED


def pages(client: Client) -> Iterator[tuple[str, str]]:
    """Yield the name and one address of everything of our own that has rows in the database."""
    _add_what_is_new()
    arguments = _arguments(client)
    for name, takes_arguments in _names():
        if not takes_arguments:
            yield name, reverse(name)
        elif found := arguments.get(name):
            yield name, reverse(name, kwargs=found[0])


def arguments_of_rows(client: Client) -> dict[str, list[Arguments]]:
    """Return the arguments of each address that takes some, for rows of the database."""
    _add_what_is_new()
    return _arguments(client)


def every_row(client: Client) -> Iterator[tuple[str, str]]:
    """Yield the name and address of everything of our own, for each kind of row there is."""
    arguments = _arguments(client)
    for name, takes_arguments in _names():
        for kwargs in arguments.get(name, []) if takes_arguments else [{}]:
            yield name, reverse(name, kwargs=kwargs)


def _expected(name: str) -> tuple[int, ...]:
    """Return the answers to expect of an address: a jar has a page where the owner wants it."""
    has_jar_page = apps.get_model("inventory.JarPage").current().is_on
    if name in ("inventory:no_jar_page", "billing:no_read_receipt"):
        return (404,)
    if name in ("api:invoice-ubl", "api:invoice-hybrid"):
        # Earlier invoices may lack what the data needs.
        return (200, 409)
    if name in ("billing:logo_picture", "api:house-logo"):
        # A dump is of the database alone, without the picture.
        return (200, 204, 404)
    if name in ("keeping:backup_file", "api:backup-file", "api:export-file"):
        # A dump is of the database alone.
        return (200, 404)
    if name in ("api:blend-search", "api:price-changes", "api:price-trial"):
        # They want to be told how much.
        return (400,)
    if name in ("inventory:long_work_file", "api:work-file"):
        # Stopped work made none.
        return (200, 404)
    if name.startswith("inventory:jar_page") and name != "inventory:jar_page_settings":
        return (200,) if has_jar_page else (404,)
    return EXPECTED


def _names(resolver=None, namespace: str = "") -> Iterator[tuple[str, bool]]:
    """Yield the full name of every address of our own, and whether it takes arguments."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver) and entry.namespace != "admin":
            inner = f"{namespace}{entry.namespace}:" if entry.namespace else namespace
            yield from _names(entry, inner)
        elif isinstance(entry, URLPattern) and entry.name and not _only_acts(namespace, entry):
            yield f"{namespace}{entry.name}", bool(entry.pattern.regex.groupindex)


def _is_pdf(answer) -> bool:
    return answer.headers.get("Content-Type") == "application/pdf"


def _only_acts(namespace: str, entry: URLPattern) -> bool:
    """Tell whether an address of the API only acts, so that there is nothing to open."""
    view = getattr(entry.callback, "cls", None) or getattr(entry.callback, "view_class", None)
    reads = hasattr(view, "get") or hasattr(entry.callback, "actions")
    return namespace == "api:" and view is not None and not reads


def _arguments(client: Client) -> dict[str, list[Arguments]]:
    """Return what to open each address with that takes arguments."""
    channels = apps.get_model("pricing.ChannelCost").Channel.values
    on_jars = apps.get_model("inventory.Lot").objects.filter(run__status="recorded")
    handed_over = apps.get_model("orders.Fulfilment").objects.filter(is_taken_back=False)
    # The papers of each take long: one for each channel.
    keys = handed_over.values("order__channel").annotate(newest=Max("pk")).values("newest")
    fulfilments = handed_over.filter(pk__in=keys)
    for_names = [
        (
            _rows("accounts.User", "pk", "role"),
            "accounts:person accounts:change_role accounts:reset_password accounts:switch_off "
            "accounts:switch_on accounts:password_link accounts:person_email "
            "accounts:remove_second_step accounts:person_access accounts:sign_out_person",
        ),
        (_rows("accounts.Passkey", "pk"), "accounts:remove_passkey"),
        (
            _rows("accounts.HouseSession", "pk"),
            "accounts:sign_out_device api:session-sign-out",
        ),
        (_rows("accounts.ApiToken", "pk"), "accounts:revoke_key api:token-revoke"),
        (_rows("accounts.User", "pk", "role", role__in=SELLS), "accounts:person_pin"),
        (
            _rows("webhooks.Endpoint", "pk"),
            "webhooks:endpoint webhooks:change webhooks:test webhooks:renew webhooks:off "
            "webhooks:on api:webhook api:webhook-change api:webhook-test api:webhook-renew "
            "api:webhook-off api:webhook-on",
        ),
        (
            _rows("webhooks.EventDelivery", "pk"),
            "webhooks:delivery webhooks:again api:webhook-delivery api:webhook-send-again",
        ),
        (
            _rows("inventory.Lot", "code", "kind", "is_on_hold"),
            "inventory:lot_detail",
        ),
        (_codes_of_one_lot(), "api:lot-detail api:lot-files"),
        (
            _rows("inventory.Lot", "code", "kind", kind__in=["extraction", "blend"]),
            "inventory:certificate inventory:measurement_add inventory:lot_origin "
            "api:lot-measurements api:lot-certificate api:lot-warmings",
        ),
        (
            _rows("inventory.Lot", "code", kind="blend"),
            "inventory:name_blend api:blend-name",
        ),
        (
            _rows("inventory.Place", "code", "kind", is_active=True, kind__in=VESSELS),
            "inventory:measure_again api:vessel-measurements",
        ),
        (_rows("inventory.Place", "code", kind="drum"), "inventory:weigh_again"),
        (_rows("inventory.Measurement", "pk", "what"), "inventory:measurement_remove"),
        (
            _rows("inventory.Warming", "pk", "above_limit_confirmed"),
            "inventory:warming_remove api:warming-remove",
        ),
        (
            _rows("inventory.CleaningTask", "pk", "schedule"),
            "inventory:cleaning_record inventory:cleaning_task_edit api:cleaning-task",
        ),
        (
            _rows("inventory.Cleaning", "pk", "task__kind"),
            "inventory:cleaning_remove api:cleaning-remove",
        ),
        (
            _rows("inventory.Attachment", "pk", "media_type", removed_at=None),
            "inventory:file inventory:file_remove api:file",
        ),
        (
            [{"thing": "lot", **row} for row in _rows("inventory.Lot", "pk", "kind")],
            "inventory:file_add",
        ),
        (_rows("inventory.Lot", "pk", "kind"), "orders:lot_buyers"),
        (
            list(on_jars.values("code", product_code=F("product__code"))[:5]),
            "inventory:jar_page",
        ),
        (_rows("inventory.Lot", "code", run__status="recorded"), "inventory:jar_page_by_lot"),
        (
            [{"keys": str(row["pk"])} for row in _rows("inventory.Lot", "pk", "kind")],
            "recall:answer recall:answer_csv recall:start recall:hold recall:release",
        ),
        (
            _recalls(client),
            "recall:record recall:record_pdf recall:record_csv recall:finish "
            "api:recall-record api:recall-finish",
        ),
        (_held_lots(), "inventory:lot_release api:lot-release"),
        (_setting_lots(), "inventory:lot_ready api:lot-ready"),
        (
            _rows("inventory.Lot", "code", "kind", kind__in=["extraction", "bought"], owner=None),
            "pricing:lot_cost",
        ),
        (
            _rows("inventory.Supplier", "pk", "kind"),
            "inventory:supplier_detail inventory:supplier_edit inventory:owner_statement "
            "inventory:owner_statement_pdf inventory:owner_statement_csv",
        ),
        (
            _pieces(product__kind="honey"),
            "inventory:lot_jars inventory:jars_label inventory:jars_empty inventory:jars_set_aside "
            "api:jars-label api:jars-empty api:jars-came-back",
        ),
        (_pieces(product__kind="gift_box"), "inventory:boxes_apart api:boxes-apart"),
        (
            _rows("inventory.ReturnedJars", "pk", "decision"),
            "inventory:jars_returned api:returned-decide",
        ),
        (
            _rows("inventory.Product", "code", kind="gift_box"),
            "inventory:box_edit inventory:box_switch inventory:boxes_make api:boxes-make",
        ),
        (
            _rows("inventory.Place", "code", "shape__form", shape__isnull=False),
            "inventory:dip inventory:convert_dip inventory:dip_chart inventory:dip_chart_pdf",
        ),
        (_rows("inventory.DipReading", "pk"), "inventory:dip_detail inventory:dip_accept"),
        (
            _rows("inventory.CountSheet", "number"),
            "inventory:count_sheet inventory:count_sheet_places inventory:count_sheet_pdf "
            "inventory:count_sheet_seals inventory:count_sheet_close "
            "inventory:count_sheet_cancel api:count-sheet api:count-lines api:count-store "
            "api:count-vessel api:count-differences api:count-close api:count-cancel "
            "api:count-sheet-paper",
        ),
        (
            _rows("inventory.Place", "code", "kind", is_active=True, kind__in=FOR_GOODS),
            "inventory:count_now",
        ),
        (
            [
                {**sheet, **place}
                for sheet in _rows("inventory.CountSheet", "number")
                for place in _rows("inventory.Place", "code", "kind", kind__in=PLACES)
            ],
            "inventory:count_sheet_place",
        ),
        (
            _rows("inventory.Place", "code", "kind", "is_active", kind__in=PLACES),
            "inventory:place_detail inventory:place_edit inventory:place_use api:place-detail",
        ),
        (
            _rows("inventory.Posting", "pk", "kind"),
            "inventory:posting_detail inventory:posting_reverse api:posting-detail",
        ),
        (
            _rows("inventory.Shortage", "pk", "item__kind", settled_by=None),
            "inventory:shortage_settle api:shortage-settle",
        ),
        (
            _rows("inventory.Shortage", "pk", settled_by=None, lot__kind="unknown"),
            "inventory:shortage_lot api:shortage-lot",
        ),
        (
            [{"band": band} for band in ("harvest", "tanks", "sold", "overfill")],
            "inventory:honey_flow_entries api:honey-flow-entries",
        ),
        (
            _blend_plans(),
            "inventory:blend_plan inventory:blend_plan_worksheet inventory:blend_plan_change "
            "inventory:blend_plan_carry_out inventory:blend_plan_drop api:blend-plan "
            "api:blend-plan-worksheet api:blend-plan-change api:blend-plan-carry-out "
            "api:blend-plan-drop",
        ),
        (
            _rows("inventory.BottlingRun", "number", "status"),
            "inventory:run_detail api:run api:run-fill-checks",
        ),
        (
            _rows("inventory.BottlingRun", "number", status="planned"),
            "inventory:run_record inventory:run_record_preview inventory:run_cancel "
            "api:run-record api:run-cancel",
        ),
        (
            _rows("inventory.BottlingRun", "number", "status", status__in=["planned", "recorded"]),
            "inventory:fill_check",
        ),
        (
            _rows("inventory.BottlingRun", "number", status="recorded"),
            "inventory:run_labels inventory:run_labels_pdf inventory:run_settle api:run-labels "
            "inventory:run_correct api:run-correct",
        ),
        (
            _rows("inventory.Lot", "code", "kind", kind__in=["extraction", "bought"]),
            "inventory:honey_receipt_correct api:honey-receipt-correct",
        ),
        (
            _rows("inventory.PartReceipt", "pk"),
            "inventory:part_receipt_correct api:part-receipt-correct",
        ),
        (
            _rows("inventory.GoodsReceipt", "pk"),
            "inventory:goods_receipt_correct api:goods-receipt-correct",
        ),
        (
            _rows("inventory.BottlingDay", "pk", "status"),
            "inventory:bottling_day inventory:bottling_day_edit inventory:bottling_day_drop",
        ),
        (
            _rows("inventory.LabelSheet", "code", "paper"),
            "inventory:label_sheet_edit inventory:label_sheet_test",
        ),
        (
            _rows("inventory.PackagingPart", "code", "kind"),
            "inventory:part_detail inventory:part_edit inventory:part_quote api:part-quote",
        ),
        (
            _rows("inventory.Size", "code"),
            "inventory:size_edit inventory:size_switch inventory:fill_chart api:size-detail "
            "api:fill-chart",
        ),
        (
            _rows("inventory.Product", "code", kind="honey", is_unlabelled=False),
            "inventory:product_edit",
        ),
        (_rows("inventory.Product", "code"), "inventory:product_switch"),
        (_rows("inventory.Variety", "pk"), "inventory:variety_edit"),
        (
            _rows("inventory.Brand", "pk"),
            "inventory:brand_edit pricing:private_label_set api:brand-customer",
        ),
        (
            _rows("inventory.Product", "code"),
            "pricing:product_prices pricing:product_tax orders:stock_detail api:product-detail",
        ),
        (
            # What is weighed has no price a piece.
            _rows("inventory.Product", "code", item__is_weighed=False),
            "pricing:price_set pricing:break_set",
        ),
        (
            # Comb is not filled, so no margin is worked out for it.
            _rows(
                "inventory.Product",
                "code",
                form__in=["liquid", "creamed", "chunk"],
                is_unlabelled=False,
            ),
            "pricing:product_margin",
        ),
        (
            _rows("inventory.Product", "code", kind="goods"),
            "inventory:goods_detail inventory:goods_edit",
        ),
        (_rows("pricing.SeasonExpense", "pk"), "pricing:expense_remove"),
        (_rows("pricing.Service", "code"), "pricing:service_change"),
        (
            _rows("customers.Customer", "pk"),
            "customers:detail customers:edit customers:personal_data customers:personal_file "
            "customers:personal_erase orders:customer_orders billing:statement "
            "billing:statement_pdf billing:customer_account billing:pay_back api:customer-detail "
            "billing:interest api:interest api:pay-back "
            "billing:service_bill api:customer-files api:service-bills mailing:pause "
            "api:reminder-pauses api:statement-paper customers:certificate_accept "
            "api:certificate-accept billing:drums_return billing:deposit_refund "
            "api:deposit-refunds api:customer-invoice-details "
            "customers:address_create api:customer-addresses",
        ),
        (_mailable(), "mailing:send"),
        (
            [{"name": name, "language": "es"} for name in ("invoice", "reminder-1")],
            "mailing:text mailing:text_usual",
        ),
        (
            _rows("mailing.Email", "pk", "status", "bounced_on"),
            "mailing:email mailing:resend mailing:bounce api:email api:email-again "
            "api:email-bounce",
        ),
        (_rows("mailing.EmailPaper", "pk"), "mailing:email_paper api:email-paper"),
        (
            [{"kind": kind} for kind in ("customers", "products", "jars", "past-sales")],
            "imports:upload imports:template_csv imports:template_xlsx",
        ),
        (
            _rows("imports.Import", "pk", "kind", "state"),
            "imports:detail imports:columns imports:bring_in imports:drop imports:undo "
            "imports:bad_rows",
        ),
        ([{"uidb64": "MQ", "token": "no-token"}], "accounts:new_password"),
        (_rows("keeping.Backup", "pk"), "keeping:backup_file"),
        (
            _rows("inventory.LongWork", "pk"),
            "inventory:long_work inventory:long_work_stop inventory:long_work_file",
        ),
        (_rows("mailing.ReminderPause", "pk"), "mailing:pause_end api:reminder-pause-end"),
        (
            [
                {"code": row["place__code"]}
                for row in _rows("orders.ConsignmentShelf", "place__code")
            ],
            "orders:consignment_shelf orders:consignment_price orders:consignment_deliver "
            "orders:consignment_bring_back billing:consignment_report api:consignment-prices "
            "api:consignment-deliveries api:consignment-bring-back api:consignment-reports "
            "api:consignment-shelf",
        ),
        (
            _rows("orders.LateCosting", "pk", undoes=None),
            "orders:late_costing orders:late_costing_undo api:late-costing-undo",
        ),
        (
            _rows("orders.ConsignmentDelivery", "number", "status"),
            "orders:consignment_delivery orders:consignment_delivery_pdf "
            "orders:consignment_delivery_deliver orders:consignment_delivery_cancel "
            "api:consignment-deliver api:consignment-cancel api:consignment-paper "
            "api:consignment-delivery",
        ),
        (
            _rows("billing.MarketDay", "pk", "unloaded_at", "cancelled_at"),
            "api:market-day api:market-day-change api:market-day-goods api:market-day-load "
            "api:market-day-load-undo api:market-day-unload api:market-day-unload-undo "
            "api:market-day-costs api:market-day-close api:market-day-cancel "
            "billing:market_day billing:market_day_change billing:market_day_list_goods "
            "billing:market_load_list_pdf billing:market_day_load "
            "billing:market_day_load_undo billing:market_day_unload "
            "billing:market_day_unload_undo billing:market_day_cost "
            "billing:market_day_close billing:market_day_cancel",
        ),
        (
            _rows("billing.HonestyBox", "pk"),
            "api:honesty-box-put-away api:honesty-box-counts billing:honesty_box "
            "billing:honesty_box_count billing:honesty_box_put_away",
        ),
        (
            _rows("billing.HonestyCount", "pk", "is_first"),
            "api:honesty-count-undo billing:honesty_count_undo",
        ),
        (
            _rows("orders.Contract", "number"),
            "orders:contract orders:contract_call_off orders:contract_end "
            "orders:contract_sample api:contract api:contract-end api:contract-samples "
            "api:call-offs",
        ),
        (
            _rows("orders.StandingOrder", "pk", "rhythm"),
            "orders:standing orders:standing_change orders:standing_pause "
            "orders:standing_leave_out api:standing-order api:standing-order-change "
            "api:standing-order-pause api:standing-order-leave-out",
        ),
        (
            _rows("orders.DeliveryRound", "number"),
            "orders:round orders:round_change orders:load_list_pdf api:delivery-round "
            "api:load-list",
        ),
        (
            [
                {"number": row["round__number"], "pk": row["pk"]}
                for row in apps.get_model("orders.RoundStop")
                .objects.order_by("pk")
                .values("pk", "round__number")
            ],
            "orders:round_stop_deliver api:round-stop-deliver",
        ),
        (
            _rows("customers.ExemptionCertificate", "pk", "reason"),
            "customers:certificate customers:certificate_end billing:late_certificate "
            "api:certificate-end",
        ),
        (
            _late_certificates(),
            "billing:late_certificate_accept api:certificate-late",
        ),
        (
            _rows("orders.Order", "number", "channel", "status"),
            "orders:order_detail orders:order_fulfil orders:order_repick orders:order_cancel "
            "orders:order_change orders:order_reserve_missing api:order-change "
            "api:order-substitute api:order-reserve-missing api:order-cancel "
            "orders:pick_list orders:pick_list_pdf orders:drums_back billing:invoice_create "
            "billing:goods_back api:order-goods-back "
            "api:order-detail api:order-files api:order-hand-over",
        ),
        (
            _rows("orders.Order", "number", "status", channel="bulk"),
            "orders:quote_accept orders:quote_pdf api:quote-paper orders:quote_decline "
            "orders:quote_withdraw api:quote-accept api:quote-decline api:quote-withdraw",
        ),
        (
            list(
                apps.get_model("orders.OrderLine")
                .objects.filter(kind__in=("packed", "honey"), is_drawn=False)
                .order_by("pk")
                .values("pk", number=F("order__number"))[:3]
            ),
            "orders:order_substitute",
        ),
        (
            _rows("customers.DeliveryAddress", "pk"),
            "customers:address_remove api:delivery-address-remove",
        ),
        (
            _rows("orders.Order", "number", "channel", "status", channel__in=LATER_PAID),
            "billing:pro_forma_pdf api:pro-forma",
        ),
        (
            _rows(
                "orders.Order",
                "number",
                "channel",
                "status",
                channel__in=LATER_PAID,
                status__in=["open", "part_filled", "filled", "cancelled"],
            ),
            "orders:confirmation_pdf api:order-confirmation",
        ),
        (
            list(fulfilments.values("pk", number=F("order__number"))),
            "orders:order_take_back orders:delivery",
        ),
        (
            [
                {**row, "paper": paper}
                for row in fulfilments.values("pk", number=F("order__number"))
                for paper in ("delivery-note", "bill-of-lading", "packing-slip")
            ],
            "orders:delivery_paper orders:delivery_paper_pdf",
        ),
        (
            [{**row, "paper": "packing-slip"} for row in fulfilments.values("pk")],
            "api:delivery-paper",
        ),
        (list(fulfilments.values("pk")), "api:delivery"),
        (
            _rows("inventory.Place", "code", kind="drum"),
            "billing:drum_history api:drum-history",
        ),
        (_rows("orders.ReturnedDrum", "pk"), "billing:deposit_keep api:keep-deposit"),
        (
            _rows("billing.KeptDeposit", "pk", "undone_on"),
            "billing:deposit_keep_undo api:keep-deposit-undo",
        ),
        (
            _rows("orders.FulfilmentLine", "pk", shipped_drum__isnull=False),
            "billing:drum_lost",
        ),
        (
            _rows("billing.Invoice", "pk", "series", "returns_deposit"),
            "billing:invoice_detail billing:invoice_pdf "
            "api:invoice-credit-notes api:invoice-corrected api:stand-returns api:return-ask "
            "billing:invoice_hybrid billing:invoice_ubl api:invoice-ubl api:invoice-hybrid "
            "billing:deposit_credit billing:use_on_account api:invoice-detail api:invoice-paper "
            "billing:adjust api:adjust",
        ),
        (
            _rows("billing.Invoice", "pk", "series", credits=None),
            "billing:invoice_credit",
        ),
        (_rows_to_correct(), "billing:invoice_correct"),
        (
            _rows("billing.Invoice", "pk", credits__isnull=False, customer__isnull=False),
            "billing:refund api:refund",
        ),
        (
            _rows("billing.Invoice", "pk", order=None),
            "billing:opening_take_back api:opening-take-back",
        ),
        (_rows("billing.Adjustment", "pk", "kind"), "billing:adjustment api:adjustment-undo"),
        (
            _rows("billing.DepositSlip", "pk", "undone_on"),
            "billing:deposit_slip billing:deposit_slip_pdf billing:deposit_slip_undo "
            "api:deposit-undo",
        ),
        (
            _rows("billing.MoneyMove", "pk", "undone_on"),
            "billing:money_move billing:money_move_undo api:money-move api:money-move-undo",
        ),
        (
            _rows("billing.StandDay", "pk"),
            "billing:stand_day billing:stand_day_cash billing:stand_day_close api:stand-day "
            "api:stand-cash api:stand-day-close",
        ),
        (
            _rows("billing.StandDay", "pk", closes__undone_on=None, closes__isnull=False),
            "billing:stand_day_open_again billing:stand_day_pdf",
        ),
        (
            _rows("billing.StandDayClose", "pk"),
            "api:stand-day-close-undo",
        ),
        (
            _rows("billing.StandCash", "pk", "kind"),
            "billing:stand_cash_undo api:stand-cash-undo",
        ),
        (
            _rows("billing.Invoice", "pk", stand_sale__marks__isnull=False),
            "billing:stand_marks_seen",
        ),
        (
            _rows("billing.HandedInSale", "pk"),
            "billing:handed_in_book billing:handed_in_set_aside",
        ),
        (_rows("billing.CashCount", "pk"), "billing:cash_count_undo api:cash-count-undo"),
        (
            _rows("billing.OpeningAmount", "pk", "account"),
            "billing:opening_amount_undo api:opening-amount-undo",
        ),
        (
            _rows("billing.Payment", "pk", method="check"),
            "billing:bounce api:payment-bounced",
        ),
        (
            _rows("billing.Payment", "pk", bounced__isnull=False),
            "billing:good api:payment-good",
        ),
        (
            _rows("billing.Invoice", "pk", "open_cents", order__channel="stand", credits=None),
            "billing:receipt billing:receipt_pdf billing:receipt_undo billing:receipt_return",
        ),
        (
            _rows(
                "orders.Order",
                "number",
                "status",
                channel__in=("shop", "delivery"),
                ship_to=None,
            ),
            "billing:stand_pickup api:stand-pickup",
        ),
        (
            [
                {"number": sale.order.number}
                for sale in apps.get_model("billing.StandSale").objects.exclude(
                    receipt__order__channel="stand"
                )
            ],
            "billing:stand_pickup_done billing:stand_pickup_pdf",
        ),
        (
            _rows("billing.ReturnRequest", "pk", "state"),
            "billing:return_request billing:return_decide "
            "api:return-request api:return-approve api:return-refuse api:return-give-back",
        ),
        (
            [
                {"code": sale["read_code"]}
                for sale in _rows("billing.StandSale", "read_code", "source")
            ],
            "billing:read_receipt",
        ),
        (
            _rows("billing.Payment", "pk", "method"),
            "billing:payment_detail billing:payment_undo billing:free_prepayment api:payment-undo",
        ),
        (
            [
                row
                for row in _rows("billing.Payment", "pk", "method", reverses=None)
                if apps.get_model("billing.Payment").objects.get(**row).has_receipt
            ],
            "billing:payment_pdf api:payment-paper",
        ),
        (
            _rows("billing.PurchaseOrder", "number", "status"),
            "billing:purchase_order billing:purchase_order_change billing:purchase_order_close "
            "billing:purchase_order_pdf billing:purchase_order_receive "
            "billing:purchase_order_link api:purchase-order api:purchase-order-close "
            "api:purchase-order-paper api:purchase-receive api:purchase-link",
        ),
        (
            _rows("billing.SupplierBill", "pk", "undone_entry"),
            "billing:bill billing:bill_undo api:supplier-bill api:supplier-bill-undo",
        ),
        (
            _rows("billing.SupplierPayment", "pk", "paid_by"),
            "billing:supplier_payment billing:supplier_payment_undo api:supplier-payment "
            "api:supplier-payment-undo",
        ),
        (
            _rows("inventory.Supplier", "pk", "kind"),
            "billing:supplier_pay billing:supplier_account",
        ),
        (
            _rows("billing.Expense", "pk", "category"),
            "billing:expense billing:expense_undo api:expense api:expense-undo",
        ),
        (
            _rows("billing.RecurringExpense", "pk", "rhythm"),
            "billing:recurring_change billing:recurring_enter billing:recurring_skip "
            "api:recurring-expense api:recurring-enter api:recurring-skip",
        ),
        (
            [{"year": row["season"]} for row in _rows("inventory.Lot", "season")],
            "pricing:season pricing:season_spread",
        ),
        (
            [{"key": row["key"]} for row in client.get(reverse("api:accounts")).json()],
            "billing:account api:account",
        ),
        ([{"channel": channel} for channel in channels], "pricing:channel_cost_set"),
        (
            [{"what": what} for what in ("moisture", "colour", "weight")],
            "inventory:convert_receipt",
        ),
        (
            [
                {"slug": row["slug"], "ending": "csv"}
                for row in client.get(reverse("api:reports")).json()
            ],
            "reports:report_long_file",
        ),
        (
            [{"slug": row["slug"]} for row in client.get(reverse("api:reports")).json()],
            "reports:report reports:report_csv reports:report_xlsx api:report api:report-csv",
        ),
        ([{"slug": topic.slug} for topic in contents.TOPICS], "web:help_topic"),
        ([{"slug": card.slug} for card in cards.CARDS], "web:help_card"),
        ([{"slug": subject.slug} for subject in subjects.SUBJECTS], "api:docs-subject"),
    ]
    found = {name: rows for rows, names in for_names for name in names.split()}
    return found | {name: found[page] for name, page in OPENED_LIKE.items()}


def _mailable() -> list[Arguments]:
    """Return a thing for each paper that can be sent by e-mail, where there is one."""
    return [
        {"paper": paper.name, "pk": thing.pk}
        for paper in mailable.all_papers()
        for thing in [
            next(filter(paper.is_for, paper.model_class._default_manager.order_by("pk")), None)
        ]
        if thing is not None
    ]


def _recalls(client: Client) -> list[Arguments]:
    """Return the recalls there are; where there are none yet, start one as a person would."""
    if not _rows("orders.Recall", "pk"):
        lot = apps.get_model("inventory.Lot").objects.latest("pk")
        client.post(
            reverse("recall:start", args=[lot.pk]),
            {"key": "walk:recall", "kind": "mock", "reason": "Yearly exercise"},
        )
    return _rows("orders.Recall", "pk", "kind")


def _blend_plans() -> list[Arguments]:
    """Return the blend plans there are; where there are none yet, plan one."""
    if not _rows("inventory.BlendPlan", "number"):
        places = apps.get_model("inventory.Place").objects.filter(is_active=True)
        filled = (
            apps.get_model("inventory.Balance")
            .objects.ours()
            .filter(is_vessel=True, quantity__gt=500, reserved=0, lot__is_on_hold=False)
        )
        blend_plans.draft(
            target=places.filter(kind="drum").exclude(balances__quantity__gt=0)[0],
            sources=[(filled[0].place, 500)],
            limits=BlendLimits(grams_min=500),
            planned_by=apps.get_model("accounts.User").objects.get(role="owner"),
            key="walk:blend",
        )
    return _rows("inventory.BlendPlan", "number", "status")


def _rows_to_correct() -> list[Arguments]:
    """Return invoices that a corrected copy can take the place of."""
    found = apps.get_model("billing.Invoice").objects.order_by("pk")
    return [{"pk": bill.pk} for bill in found if corrected_invoices.may_be_corrected(bill)][:5]


def _late_certificates() -> list[Arguments]:
    """Return certificates with an invoice of their customer, which they may free or not."""
    found = apps.get_model("customers.ExemptionCertificate").objects.filter(
        customer__invoices__isnull=False
    )
    return list(found.values("pk", invoice=F("customer__invoices__pk"))[:5])


def _rows(model: str, argument: str, *kinds: str, **where: Any) -> list[Arguments]:
    """Return an address's argument for one row of each kind; for every row without kinds."""
    found = apps.get_model(model).objects.filter(**where).order_by("pk").values(argument, *kinds)
    by_kind = {tuple(row[kind] for kind in kinds or [argument]): row[argument] for row in found}
    return [{argument: value} for value in by_kind.values()]


def _codes_of_one_lot() -> list[Arguments]:
    """Return the codes that one lot bears; the API asks which one of several is meant."""
    lots = apps.get_model("inventory.Lot").objects.order_by("pk").values("code")
    count = Counter(row["code"] for row in lots)
    return [{"code": row["code"]} for row in lots if count[row["code"]] == 1]


def _held_lots() -> list[Arguments]:
    lots = apps.get_model("inventory.Lot").objects.filter(is_on_hold=True)
    return [{"code": lot.code, "product": lot.what} for lot in lots]


def _pieces(**where: Any) -> list[Arguments]:
    """Return what the addresses of a lot of pieces take: its code and its product's short name."""
    lots = apps.get_model("inventory.Lot").objects.filter(product__isnull=False, **where)
    return [{"code": lot.code, "product": lot.product.code} for lot in lots]


def _setting_lots() -> list[Arguments]:
    lots = apps.get_model("inventory.Lot").objects.filter(ready_on__isnull=False)
    return [{"code": lot.code, "product": lot.product.code} for lot in lots]


def _admin_addresses() -> Iterator[tuple[str, tuple[int, ...]]]:
    yield reverse("admin:index"), EXPECTED
    for model in admin.site._registry:
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        yield reverse(f"{name}_changelist"), EXPECTED
        yield reverse(f"{name}_add"), EXPECTED_IN_ADMIN
        if pk := model._default_manager.values_list("pk", flat=True).first():
            yield reverse(f"{name}_change", args=[pk]), EXPECTED
            yield reverse(f"{name}_history", args=[pk]), EXPECTED
            yield reverse(f"{name}_delete", args=[pk]), EXPECTED_IN_ADMIN
