"""The API: the services of the pages in JSON, with keys, permissions and problem details."""

import inspect
import json
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from functools import cache
from typing import Unpack, get_args, get_origin, get_type_hints

import pytest
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator
from rest_framework import fields
from rest_framework.exceptions import ValidationError

from apiary_sales.accounts.services import people, pins, set_up, sign_ins
from apiary_sales.api import (
    blends,
    bottling,
    bottling_days,
    buying,
    cleaning,
    comb,
    corrections,
    counts,
    emails,
    fill_checks,
    goods,
    holds,
    honey_moves,
    honey_of_others,
    jars,
    ledger_accounts,
    measurements,
    money,
    opening_stock,
    products,
    recall_records,
    selling_costs,
    serializers,
    service_bills,
    sessions,
    shortages,
    structured_invoices,
    taxes,
    tokens,
    trade,
    views,
    warmings,
    work,
)
from apiary_sales.api import bulk_sales as bulk_sales_api
from apiary_sales.api import credit_notes as credit_notes_api
from apiary_sales.api import customers as customers_api
from apiary_sales.api import dips as dips_api
from apiary_sales.api import drums as drums_api
from apiary_sales.api import files as files_api
from apiary_sales.api import house as house_api
from apiary_sales.api import imports as imports_api
from apiary_sales.api import invoices as invoices_api
from apiary_sales.api import late_costs as late_costs_api
from apiary_sales.api import market_days as market_api
from apiary_sales.api import money_moves as money_moves_api
from apiary_sales.api import orders as api_orders
from apiary_sales.api import parts as parts_api
from apiary_sales.api import people as people_api
from apiary_sales.api import places as places_api
from apiary_sales.api import planning as planning_api
from apiary_sales.api import prices as prices_api
from apiary_sales.api import sign_ins as api_sign_ins
from apiary_sales.api import sizes as sizes_api
from apiary_sales.api import stand_days as stand_days_api
from apiary_sales.api import stand_marks as stand_marks_api
from apiary_sales.api import stand_pickups as stand_pickups_api
from apiary_sales.api import stand_returns as stand_returns_api
from apiary_sales.api import webhooks as webhooks_api
from apiary_sales.api.models import KeptAnswer
from apiary_sales.api.parsers import JSONParser
from apiary_sales.api.weight_sales import WeightSaleView
from apiary_sales.billing import printing
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.services import (
    adjustments,
    bills,
    bounced_checks,
    cash_counts,
    closing,
    consignment_reports,
    corrected_invoices,
    credit_notes,
    deposit_slips,
    drum_deposits,
    expenses,
    handed_in,
    honesty_boxes,
    interest,
    invoices,
    late_certificates,
    market_days,
    market_unloading,
    money_moves,
    opening,
    payments,
    purchase_orders,
    return_requests,
    stand,
    stand_days,
    stand_marks,
    stand_pickups,
    stand_returns,
    weight_sales,
)
from apiary_sales.billing.services import ledger_accounts as account_services
from apiary_sales.billing.services import service_bills as bill_services
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import addresses, personal_data
from apiary_sales.customers.services import certificates as certificate_services
from apiary_sales.customers.services import customers as customer_services
from apiary_sales.imports.services import long_lists, undoing, uploads
from apiary_sales.mailing.services import emails as email_services
from apiary_sales.mailing.services import reminders, texts
from apiary_sales.orders.services import changes as order_changes
from apiary_sales.orders.services import (
    consignments,
    contracts,
    deliveries,
    drum_register,
    late_costs,
    quotes,
    recalls,
    returns,
    rounds,
    standing_orders,
    weigh_out,
)
from apiary_sales.orders.services import orders as order_services
from apiary_sales.planning import long_search
from apiary_sales.planning import services as planning_services
from apiary_sales.pricing.services import (
    channels,
    filling_times,
    prices,
    private_labels,
    seasons,
    service_list,
    weight_prices,
)
from apiary_sales.pricing.services import taxes as tax_services
from apiary_sales.reports import long_files
from apiary_sales.webhooks.services import endpoints as webhook_services
from inventory.bottling.services import bottling_days as day_services
from inventory.bottling.services import comb as comb_services
from inventory.bottling.services import costs as cost_services
from inventory.bottling.services import (
    delivery_corrections,
    estimates,
    gift_boxes,
    jar_page,
    label_sheets,
    receipt_corrections,
    returned_jars,
    reversals,
    run_corrections,
    runs,
)
from inventory.bottling.services import fill_checks as fill_check_services
from inventory.bottling.services import goods as goods_services
from inventory.bottling.services import holds as hold_services
from inventory.bottling.services import jars as jar_services
from inventory.bottling.services import opening_stock as opening_stock_services
from inventory.bottling.services import parts as part_services
from inventory.bottling.services import products as product_services
from inventory.bottling.services import sizes as size_services
from inventory.shared.services import books_lock
from inventory.shared.services import house as house_services
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.queries import books
from inventory.stock.services import (
    blend_plans,
    count_sheets,
    dips,
    drums,
    honey,
    lots,
    numbers,
    others,
    places,
    production,
    purchases,
    stores,
    suppliers,
)
from inventory.stock.services import cleaning as cleaning_services
from inventory.stock.services import measurements as measurement_services
from inventory.stock.services import shortages as shortage_services
from inventory.stock.services import warmings as warming_services
from tests import builders

pytestmark = pytest.mark.django_db

DAY = "2026-07-20"


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Holding tank")


@pytest.fixture
def call(client):
    """Return a caller who signs in with the token of a role."""

    def send(method, path, body=None, *, role="owner", key=None):
        headers = {"Authorization": builders.authorization(role)}
        if key:
            headers["Idempotency-Key"] = key
        data = {} if body is None else {"data": json.dumps(body)}
        answer = getattr(client, method)(
            f"/api/v1/{path}", headers=headers, content_type="application/json", **data
        )
        if method in ("post", "put") and answer.status_code >= 400:
            # Whatever is refused in any of these tests is named as the schema names it.
            named = {error["field"] for error in answer.json()["errors"]}
            assert [field for field in named if not is_in_body(path, field)] == []
        return answer

    return send


@cache
def schema():
    return SchemaGenerator().get_schema(request=None, public=True)


def body_of(path):
    """Return the schema of the body that is sent to an address."""
    at = schema()["paths"][f"/api/v1/{path}"]
    content = (at.get("post") or at["put"])["requestBody"]["content"]
    return content["application/json"]["schema"]


def is_in_body(path, field):
    """Tell whether the body sent to an address has a field of this path; None is the whole body."""
    inside = body_of(path)
    for part in (field or "").split("."):
        while "$ref" in inside:
            inside = schema()["components"]["schemas"][inside["$ref"].rpartition("/")[2]]
        if field is None:
            return True
        inside = inside["items"] if part.isdecimal() else inside["properties"].get(part)
        if inside is None:
            return False
    return True


def extraction(**changes):
    return {
        "place": "tank-1",
        "grams": 400_000,
        "season": 2026,
        "floral_source": "Clover",
        "extracted_on": DAY,
        "moisture_percent": "17.40",
        **changes,
    }


def problem(response, status):
    assert response.status_code == status
    assert response["Content-Type"] == "application/problem+json"
    return response.json()


def test_without_signing_in_nothing_is_shown(client):
    said = problem(client.get("/api/v1/lots/"), 401)

    assert said["code"] == "not_authenticated"


def test_an_extraction_is_received_and_read_back(call, tank):
    made = call("post", "extractions/", extraction(), key="e1")

    assert made.status_code == 201
    assert made.json()["code"] == "26-E01"
    assert made.json()["moisture_grade"] == "U.S. Grade A"
    assert call("get", "lots/26-E01/").json() == made.json()
    stock = call("get", "stock/").json()["results"]
    assert [(row["place"], row["lot"], row["quantity"]) for row in stock] == [
        ("tank-1", "26-E01", 400_000)
    ]


def test_the_same_key_acts_once(call, tank):
    first = call("post", "extractions/", extraction(), key="e1")

    again = call("post", "extractions/", extraction(), key="e1")

    assert (again.status_code, again.content) == (201, first.content)
    assert Balance.objects.in_vessel(tank).quantity == 400_000


def test_a_key_whose_answer_is_no_longer_kept_names_what_it_made(call, tank):
    call("post", "extractions/", extraction(), key="e1")
    KeptAnswer.objects.all().delete()

    said = problem(call("post", "extractions/", extraction(), key="e1"), 409)

    assert said["code"] == "already_recorded"
    assert Balance.objects.in_vessel(tank).quantity == 400_000
    # A client that lost the first answer reads here what it made.
    posting = Posting.objects.get()
    assert said["made"] == call("get", f"postings/{posting.pk}/").json()
    assert {line["lot"] for line in said["made"]["lines"]} == {"26-E01"}


def test_an_old_sale_sent_again_names_its_order_and_receipt(call, till):
    made = call("post", "stand-sales/", sale(), key="s1")
    KeptAnswer.objects.all().delete()

    said = problem(call("post", "stand-sales/", sale(), key="s1"), 409)

    assert said["made"] == made.json()
    assert made.json()["receipt"] == str(Invoice.objects.get())


def test_honey_is_poured_on_the_day_that_is_sent(call, tank):
    builders.place("tank-2")
    call("post", "extractions/", extraction(), key="e1")
    body = {"source": "tank-1", "target": "tank-2", "grams": 1000}
    day = builders.today() - timedelta(days=5)

    made = call("post", "transfers/", body | {"poured_on": day.isoformat()}, key="t1").json()

    poured_at = Posting.objects.get(pk=made["id"]).occurred_at
    assert timezone.localdate(poured_at) == day


def test_honey_cannot_be_poured_tomorrow(call, tank):
    builders.place("tank-2")
    call("post", "extractions/", extraction(), key="e1")
    body = {"source": "tank-1", "target": "tank-2", "grams": 1000}
    day = builders.today() + timedelta(days=1)

    said = problem(call("post", "transfers/", body | {"poured_on": day.isoformat()}, key="t1"), 422)

    assert [error["field"] for error in said["errors"]] == ["poured_on"]


def test_other_refusals_name_nothing_made(call, tank):
    said = problem(call("post", "extractions/", extraction(grams=60_000_000), key="e1"), 422)

    assert "made" not in said


@pytest.mark.parametrize("name", ["place", "floral_source"])
def test_a_null_character_is_refused_at_its_field(call, tank, name):
    said = problem(call("post", "extractions/", extraction(**{name: "a\x00"}), key="e1"), 400)

    assert [error["field"] for error in said["errors"]] == [name]


def test_no_code_with_a_null_character_is_looked_up(tank, django_assert_num_queries):
    field = serializers.CodeField(queryset=Place.objects.all())

    with django_assert_num_queries(0), pytest.raises(ValidationError):
        field.to_internal_value("a\x00")


def test_a_key_with_a_null_character_is_refused(call, tank):
    problem(call("post", "extractions/", extraction(), key="e\x00"), 400)

    assert Balance.objects.in_vessel(tank) is None


def test_an_act_without_a_key_is_refused(call, tank):
    said = problem(call("post", "extractions/", extraction()), 400)

    assert said["detail"] == "Send an Idempotency-Key header of 1 to 100 characters."
    assert Balance.objects.in_vessel(tank) is None


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"grams": -1}, 400, "grams"),
        ({"grams": "400"}, 400, "grams"),
        ({"grams": True}, 400, "grams"),
        ({"place": "nowhere"}, 400, "place"),
        ({"floral_source": 7}, 400, "floral_source"),
        ({"moisture_percent": "9.99"}, 422, "moisture_percent"),
        ({"grams": 60_000_000}, 422, "grams"),
    ],
)
def test_bad_figures_are_named_and_change_nothing(call, tank, changes, status, field):
    said = problem(call("post", "extractions/", extraction(**changes), key="e1"), status)

    assert [error["field"] for error in said["errors"]] == [field]
    assert Balance.objects.in_vessel(tank) is None
    assert list(books.faults()) == []


def test_more_than_there_is_cannot_be_poured(call, tank):
    builders.place("tank-2")
    call("post", "extractions/", extraction(), key="e1")

    body = {"source": "tank-1", "target": "tank-2", "grams": 400_001}
    said = problem(call("post", "transfers/", body, key="t1"), 409)

    # 400 kg are 882 lb.
    assert said["code"] == "not_enough_honey"
    assert said["detail"] == (
        "Not enough honey: you asked for 881.9 lb, but Holding tank has only 881.8 lb. "
        "Enter less, or choose another vessel."
    )


def test_the_stand_sells_at_stand_prices(call, tank):
    stand = builders.place("stand", Place.Kind.STAND)
    product = builders.product("One pound", code="1-lb")
    builders.packed_lot(product, stand, 10)
    prices.set_piece(
        product=product,
        tier=Customer.Tier.STAND,
        piece_cents=950,
        valid_from=builders.today(),
    )

    body = {
        "place": "stand",
        "lines": [{"product": "1-lb", "pieces": 2}],
        "method": "cash",
        "tendered_cents": 2000,
    }
    made = call("post", "stand-sales/", body, role="stand", key="s1")

    assert made.status_code == 201
    assert made.json()["total_cents"] == 1900
    assert made.json()["change_cents"] == 100


@pytest.fixture
def till():
    """A stand with a hundred one-pound jars at 9.50, and a case of 12 at 108.00."""
    stand = builders.place("stand", Place.Kind.STAND)
    product = builders.product("One pound", code="1-lb")
    builders.packed_lot(product, stand, 100)
    prices.set_piece(
        product=product,
        tier=Customer.Tier.STAND,
        piece_cents=950,
        case_cents=10_800,
        valid_from=builders.today(),
    )
    return product


def sale(**changes):
    lines = [{"product": "1-lb", "pieces": 2}]
    return {"place": "stand", "lines": lines, "method": "card", **changes}


def test_a_card_sale_needs_no_more_than_place_lines_and_method(call, till):
    made = call("post", "stand-sales/", sale(), key="s1")

    assert made.status_code == 201
    assert (made.json()["total_cents"], made.json()["change_cents"]) == (1900, 0)


def test_a_cash_sale_without_the_cash_given_says_what_is_missing(call, till):
    said = problem(call("post", "stand-sales/", sale(method="cash"), key="s1"), 422)

    assert said["errors"] == [
        {
            "field": "tendered_cents",
            "code": "bad_value",
            "detail": "Enter the cash that was given.",
        }
    ]


def test_what_is_wrong_with_the_second_line_is_named_there(call, till):
    lines = [
        {"product": "1-lb", "pieces": 1},
        {"product": "1-lb", "pieces": 0},
        {"product": "none"},
    ]

    said = problem(call("post", "stand-sales/", sale(lines=lines), key="s1"), 400)

    assert [(error["field"], error["detail"]) for error in said["errors"]] == [
        ("lines.1.pieces", "Enter 1 or more."),
        ("lines.2.product", "There is no such code: none."),
        ("lines.2.pieces", "Fill this in."),
    ]


def test_what_is_no_list_is_named_too(call, till):
    said = problem(call("post", "stand-sales/", sale(lines="two jars"), key="s1"), 400)

    assert [(error["field"], error["detail"]) for error in said["errors"]] == [
        ("lines", "Send a list.")
    ]


def test_more_than_a_stand_sale_holds_is_named_at_its_line(call, till):
    lines = [{"product": "1-lb", "pieces": 1}, {"product": "1-lb", "pieces": 1001}]

    said = problem(call("post", "stand-sales/", sale(lines=lines), key="s1"), 422)

    assert [error["field"] for error in said["errors"]] == ["lines.1.pieces"]


def test_a_whole_case_is_charged_at_the_lower_of_case_price_and_quantity_price(call, till):
    prices.set_piece(
        product=till,
        tier=Customer.Tier.STAND,
        piece_cents=940,
        min_pieces=6,
        valid_from=builders.today(),
    )

    body = sale(lines=[{"product": "1-lb", "pieces": 12}])
    made = call("post", "stand-sales/", body, key="s1")

    # A case at 108.00; twelve at 9.40 would be 112.80.
    assert made.json()["total_cents"] == 10_800


@pytest.mark.parametrize("last", ["a", "b"])
def test_keys_that_differ_only_at_the_end_are_two_keys(call, till, last):
    call("post", "stand-sales/", sale(), key="k" * 99 + "a")

    again = call("post", "stand-sales/", sale(), key="k" * 99 + last)

    assert again.status_code == 201
    assert Invoice.objects.count() == (1 if last == "a" else 2)


LEAST_BODIES = {
    "extractions/": {
        "place": "tank-1",
        "grams": 1000,
        "season": 2026,
        "floral_source": "Clover",
        "extracted_on": DAY,
    },
    "transfers/": {"source": "tank-1", "target": "tank-2", "grams": 1000},
    "stand-sales/": sale(),
    "weight-sales/": {
        "place": "stand",
        "vessel": "tank-1",
        "net_grams": 100,
        "method": "card",
    },
    "token/": {"username": "owner", "password": "owner"},
}
OTHER_FIELDS = {
    "extractions/": [
        "yard",
        "moisture_percent",
        "refractive_index",
        "refractometer_celsius",
        "brix",
        "colour_mm",
        "cost_cents",
    ],
    "transfers/": ["poured_on", "note"],
    "stand-sales/": ["tendered_cents", "discount_cents"],
    "weight-sales/": ["product", "gross_grams", "tare_grams", "tendered_cents"],
    "token/": ["name", "scopes", "days"],
}
ABSURD = [
    *(None, True, "", "x", -1, 0, 1.5, 10**9, 2**63, 10**30, float("inf")),
    *([], {}, [None], [[]], {"a": 1}),
    *("NaN", "Infinity", "1e999999", "9" * 5000, "0000-00-00", "9999-12-31", "\x00", "\ud800"),
    *([{"product": value, "pieces": 1}] for value in (None, "x", "\ud800", [], 1)),
    *([{"product": "1-lb", "pieces": value}] for value in (None, "x", -1, 10**9, 10**30)),
]


SERVICES = {
    "webhooks/": (webhooks_api.WebhooksApiView, webhook_services.add),
    "webhooks/{id}/change/": (webhooks_api.WebhookChangeApiView, webhook_services.change),
    "extractions/": (views.ExtractionView, honey.receive),
    "transfers/": (views.TransferView, honey.transfer),
    "orders-taken/": (api_orders.OrdersTakeApiView, order_services.take),
    "orders/{number}/change/": (api_orders.OrderChangeApiView, order_changes.change),
    "orders/{number}/substitute/": (api_orders.OrderSubstituteApiView, order_changes.substitute),
    "orders/{number}/cancel/": (api_orders.OrderCancelApiView, order_services.cancel),
    "quotes-made/": (api_orders.QuotesApiView, quotes.quote),
    "quotes/{number}/accept/": (api_orders.QuoteAcceptApiView, quotes.accept),
    "quotes/{number}/decline/": (api_orders.QuoteDeclineApiView, quotes.decline),
    "quotes/{number}/withdraw/": (api_orders.QuoteWithdrawApiView, quotes.withdraw),
    "customers/{id}/addresses/": (api_orders.DeliveryAddressesApiView, addresses.add),
    "stand-sales/": (views.StandSaleView, stand.sell),
    "stand-sales/bulk/": (bulk_sales_api.StandSalesBulkView, stand.sell),
    "weight-sales/": (WeightSaleView, weight_sales.sell),
    "honey-products/": (products.HoneyProductsApiView, product_services.save_honey),
    "goods/": (products.GoodsProductsApiView, goods_services.save),
    "gift-boxes/": (products.GiftBoxesApiView, gift_boxes.save),
    "brands/{id}/customer/": (products.BrandCustomerApiView, private_labels.set_customer),
    "goods-receipts/": (goods.GoodsReceiptsApiView, goods_services.receive),
    "goods-made/": (goods.GoodsMadeApiView, goods_services.make),
    "comb-receipts/": (comb.CombReceiptsApiView, comb_services.receive),
    "comb-cuts/": (comb.CombCutsApiView, comb_services.cut),
    "runs/": (bottling.RunsApiView, runs.plan),
    "bottling-days/": (bottling_days.BottlingDaysApiView, day_services.record),
    "bottling-day-sheets/": (bottling_days.BottlingDaySheetsApiView, day_services.save),
    "estimates-settled/": (bottling_days.EstimatesSettleApiView, estimates.settle),
    "runs/{number}/record/": (bottling.RunRecordApiView, runs.record),
    "runs/{number}/correct/": (corrections.RunCorrectApiView, run_corrections.correct),
    "lots/{code}/correct/": (corrections.HoneyReceiptCorrectApiView, receipt_corrections.correct),
    "parts-received/{id}/correct/": (
        corrections.PartReceiptCorrectApiView,
        delivery_corrections.correct_parts,
    ),
    "goods-received/{id}/correct/": (
        corrections.GoodsReceiptCorrectApiView,
        delivery_corrections.correct_goods,
    ),
    "runs/{number}/fill-checks/": (fill_checks.RunFillChecksApiView, fill_check_services.record),
    "runs/{number}/cancel/": (bottling.RunCancelApiView, runs.cancel),
    "lots/{code}/{product}/label/": (jars.JarsLabelApiView, jar_services.label),
    "lots/{code}/{product}/empty/": (jars.JarsEmptyApiView, jar_services.empty),
    "lots/{code}/{product}/came-back/": (jars.JarsKeepApartApiView, returned_jars.keep_apart),
    "lots/{code}/{product}/take-apart/": (jars.BoxesApartApiView, gift_boxes.take_apart),
    "lots/{code}/{product}/release/": (holds.LotReleaseApiView, hold_services.release_lot),
    "lots/{code}/measurements/": (
        measurements.LotMeasurementsApiView,
        measurement_services.record,
    ),
    "sign-ins/unlock/": (api_sign_ins.UnlockApiView, sign_ins.unlock),
    "shortages/{id}/settle/": (shortages.ShortageSettleApiView, shortage_services.settle),
    "shortages/{id}/lot/": (shortages.ShortageLotApiView, shortage_services.name_lot),
    "places/{code}/measurements/": (
        measurements.VesselMeasurementsApiView,
        measurement_services.measure_again,
    ),
    "lots/{code}/name/": (measurements.BlendNameApiView, lots.name_blend),
    "drum-weighings/": (measurements.DrumWeighingsApiView, drums.weigh_again),
    "drum-fills/": (measurements.DrumFillsApiView, drums.fill),
    "returned-jars/{id}/decide/": (jars.JarsDecideApiView, returned_jars.release),
    "gift-boxes-made/{code}/": (jars.BoxesMakeApiView, gift_boxes.put_together),
    "stock-counts/": (counts.StockCountsApiView, stores.count),
    "stock-write-offs/": (counts.StockWriteOffsApiView, stores.write_off),
    "honey-write-offs/": (counts.HoneyWriteOffsApiView, honey.write_off),
    "count-sheets/": (counts.CountSheetsApiView, count_sheets.open_sheet),
    "count-sheets/{number}/store/": (counts.CountStoreApiView, count_sheets.enter),
    "count-sheets/{number}/vessel/": (counts.CountVesselApiView, count_sheets.enter_vessel),
    "count-sheets/{number}/close/": (counts.CountCloseApiView, count_sheets.close),
    "suppliers/": (honey_of_others.SuppliersApiView, suppliers.add),
    "purchases/": (honey_of_others.PurchasesApiView, purchases.receive),
    "others-honey/": (honey_of_others.OwnerReceiptsApiView, others.receive),
    "honey-handed-back/": (honey_of_others.HandBackApiView, others.hand_back),
    "jars-handed-back/": (honey_of_others.HandBackJarsApiView, others.hand_back_jars),
    "others-honey-bought/": (honey_of_others.BuyFromOwnerApiView, others.buy),
    "warmings/": (warmings.WarmingsApiView, warming_services.record),
    "cleaning-tasks/": (cleaning.CleaningTasksApiView, cleaning_services.save_task),
    "cleaning-tasks/{id}/": (cleaning.CleaningTaskApiView, cleaning_services.save_task),
    "cleanings/": (cleaning.CleaningsApiView, cleaning_services.record),
    "holds/": (holds.HoldsApiView, recalls.hold),
    "holds-released/": (holds.HoldsReleaseApiView, recalls.release),
    "recall/records/": (recall_records.RecallRecordsApiView, recalls.start),
    "recall/records/{id}/finish/": (recall_records.RecallFinishApiView, recalls.finish),
    "customers/{id}/service-bills/": (service_bills.ServiceBillsApiView, bill_services.bill),
    "emails/": (emails.EmailsApiView, email_services.send),
    "emails/{id}/again/": (emails.EmailAgainApiView, email_services.resend),
    "emails/{id}/came-back/": (emails.EmailBounceApiView, email_services.note_bounce),
    "email-texts/": (emails.EmailTextsApiView, texts.save),
    "email-texts/usual/": (emails.UsualTextApiView, texts.use_usual),
    "reminders/": (emails.RemindersApiView, reminders.send),
    "reminder-plan/": (emails.ReminderPlanApiView, reminders.change_plan),
    "customers/{id}/reminder-pauses/": (emails.ReminderPausesApiView, reminders.pause),
    "consignment-shelves/": (trade.ConsignmentShelvesApiView, consignments.set_up),
    "consignment-shelves/{code}/prices/": (
        trade.ConsignmentPricesApiView,
        consignments.agree_price,
    ),
    "consignment-shelves/{code}/deliveries/": (
        trade.ConsignmentDeliveriesApiView,
        consignments.plan,
    ),
    "consignment-shelves/{code}/bring-back/": (
        trade.ConsignmentBringBackApiView,
        consignments.bring_back,
    ),
    "consignment-shelves/{code}/reports/": (
        trade.ConsignmentReportsApiView,
        consignment_reports.enter,
    ),
    "consignment-deliveries/{number}/deliver/": (
        trade.ConsignmentDeliverApiView,
        consignments.deliver,
    ),
    "contracts/": (trade.ContractsApiView, contracts.agree),
    "contracts/{number}/end/": (trade.ContractEndApiView, contracts.end),
    "contracts/{number}/samples/": (trade.ContractSamplesApiView, contracts.approve_sample),
    "contracts/{number}/call-offs/": (trade.CallOffsApiView, contracts.call_off),
    "standing-orders/": (trade.StandingOrdersApiView, standing_orders.set_up),
    "standing-orders/due/": (trade.StandingOrdersDueApiView, standing_orders.confirm),
    "standing-orders/{id}/change/": (trade.StandingOrderChangeApiView, standing_orders.change),
    "standing-orders/{id}/pause/": (trade.StandingOrderPauseApiView, standing_orders.pause),
    "standing-orders/{id}/leave-out/": (
        trade.StandingOrderLeaveOutApiView,
        standing_orders.leave_out,
    ),
    "delivery-rounds/": (trade.RoundsApiView, rounds.plan),
    "delivery-rounds/{number}/": (trade.RoundChangeApiView, rounds.change),
    "delivery-rounds/{number}/{id}/": (trade.StopDeliverApiView, rounds.deliver),
    "tax-rates/": (taxes.TaxRatesApiView, prices.set_tax_rate),
    "tax-categories/": (taxes.TaxCategoriesApiView, tax_services.set_category),
    "customers/{id}/certificates/": (
        taxes.CertificateAcceptApiView,
        certificate_services.accept,
    ),
    "customers/{id}/invoice-details/": (
        structured_invoices.InvoiceDetailsApiView,
        customer_services.set_invoice_details,
    ),
    "certificates/{id}/end/": (taxes.CertificateEndApiView, certificate_services.change_end),
    "certificates/{id}/invoices/{invoice}/": (
        taxes.LateCertificateApiView,
        late_certificates.accept,
    ),
    "invoices/{id}/credit-notes/": (
        credit_notes_api.CreditNotesApiView,
        credit_notes.credit,
    ),
    "invoices/{id}/corrected/": (
        credit_notes_api.CorrectedInvoiceApiView,
        corrected_invoices.correct,
    ),
    "orders/{number}/goods-back/": (credit_notes_api.GoodsBackApiView, returns.record),
    "orders/{number}/pick-up/": (stand_pickups_api.StandPickupApiView, stand_pickups.hand_over),
    "orders/{number}/hand-over/": (drums_api.HandOverApiView, weigh_out.hand_over),
    "fulfilments/{id}/delivery/": (drums_api.DeliveryApiView, deliveries.describe),
    "drum-returns/": (drums_api.DrumReturnsApiView, drum_register.take_back),
    "drums-lost/": (drums_api.DrumsLostApiView, drum_deposits.report_lost),
    "returned-drums/{id}/keep-deposit/": (drums_api.KeepDepositApiView, drum_deposits.keep),
    "kept-deposits/{id}/undo/": (
        drums_api.GiveUpKeepingApiView,
        drum_deposits.give_up_keeping,
    ),
    "customers/{id}/deposit-refunds/": (drums_api.DepositRefundsApiView, drum_deposits.refund),
    "payments/": (money.PaymentsApiView, payments.receive),
    "payments/{id}/undo/": (money.PaymentUndoApiView, payments.reverse),
    "payments/{id}/bounced/": (money.PaymentBounceApiView, bounced_checks.record),
    "payments/{id}/good/": (money.PaymentGoodApiView, bounced_checks.undo),
    "customers/{id}/pay-back/": (money.PayBackApiView, payments.pay_back),
    "customers/{id}/interest/": (money.InterestApiView, interest.charge),
    "invoices/{id}/refund/": (money.RefundApiView, payments.refund),
    "invoices/{id}/adjust/": (money.AdjustApiView, adjustments.adjust),
    "adjustments/{id}/undo/": (money.AdjustmentUndoApiView, adjustments.undo),
    "deposit-slips/": (money.DepositSlipsApiView, deposit_slips.deposit),
    "deposit-slips/{id}/undo/": (money.DepositUndoApiView, deposit_slips.undo),
    "parts/{code}/quote/": (parts_api.PartQuoteApiView, part_services.quote),
    "late-costings/": (late_costs_api.LateCostingsApiView, late_costs.cost),
    "market-days/": (market_api.MarketDaysApiView, market_days.plan),
    "market-days/{id}/change/": (market_api.MarketChangeApiView, market_days.change),
    "market-days/{id}/goods/": (market_api.MarketGoodsApiView, market_days.set_load_list),
    "market-days/{id}/load/": (market_api.MarketLoadApiView, market_days.load),
    "market-days/{id}/unload/": (market_api.MarketUnloadApiView, market_unloading.unload),
    "market-days/{id}/unload/undo/": (
        market_api.MarketUnloadUndoApiView,
        market_unloading.undo_unload,
    ),
    "market-days/{id}/costs/": (market_api.MarketCostApiView, market_days.enter_cost),
    "market-days/{id}/close/": (market_api.MarketCloseApiView, market_days.close),
    "honesty-boxes/": (market_api.HonestyBoxesApiView, honesty_boxes.set_up),
    "honesty-boxes/{id}/counts/": (market_api.HonestyCountsApiView, honesty_boxes.count),
    "honesty-counts/{id}/undo/": (market_api.HonestyCountUndoApiView, honesty_boxes.undo),
    "money-moves/": (money_moves_api.MoneyMovesApiView, money_moves.move),
    "money-moves/{id}/undo/": (money_moves_api.MoneyMoveUndoApiView, money_moves.undo),
    "cash-counts/": (money.CashCountsApiView, cash_counts.count),
    "cash-counts/{id}/undo/": (money.CashCountUndoApiView, cash_counts.undo),
    "stand-days/": (stand_days_api.StandDaysApiView, stand_days.open_day),
    "stand-days/{id}/cash/": (stand_days_api.StandCashApiView, stand_days.move_cash),
    "stand-days/{id}/close/": (stand_days_api.StandDayCloseApiView, stand_days.close),
    "stand-cash/{id}/undo/": (stand_days_api.StandCashUndoApiView, stand_days.undo_cash),
    "stand-day-closes/{id}/undo/": (
        stand_days_api.StandDayCloseUndoApiView,
        stand_days.undo_close,
    ),
    "invoices/{id}/returns/": (stand_returns_api.StandReturnsApiView, stand_returns.give_back),
    "invoices/{id}/return-requests/": (
        stand_returns_api.ReturnAskApiView,
        return_requests.ask,
    ),
    "return-requests/without-receipt/": (
        stand_returns_api.NoReceiptApiView,
        return_requests.ask_without_receipt,
    ),
    "return-requests/{id}/approve/": (
        stand_returns_api.ReturnApproveApiView,
        return_requests.approve,
    ),
    "return-requests/{id}/refuse/": (
        stand_returns_api.ReturnRefuseApiView,
        return_requests.refuse,
    ),
    "return-requests/{id}/give-back/": (
        stand_returns_api.ReturnGiveBackApiView,
        return_requests.give_back,
    ),
    "opening-invoices/": (money.OpeningInvoicesApiView, opening.owe),
    "invoices/{id}/take-back/": (money.OpeningTakeBackApiView, opening.take_back),
    "opening-credits/": (money.OpeningCreditsApiView, opening.credit),
    "opening-amounts/": (money.OpeningAmountsApiView, opening.amount),
    "opening-amounts/{id}/undo/": (money.OpeningAmountUndoApiView, opening.undo_amount),
    "first-numbers/": (money.FirstNumbersApiView, numbers.begin_at),
    "opening-jars/": (opening_stock.OpeningJarsApiView, opening_stock_services.receive_jars),
    "accounts/{key}/": (ledger_accounts.AccountApiView, account_services.change),
    "books/close/": (ledger_accounts.CloseBooksApiView, closing.close),
    "books/open-again/": (ledger_accounts.OpenBooksApiView, books_lock.open_again),
    "purchase-orders/": (buying.PurchaseOrdersApiView, purchase_orders.place),
    "purchase-orders/{number}/": (buying.PurchaseOrderApiView, purchase_orders.change),
    "purchase-orders/{number}/close/": (buying.PurchaseOrderCloseApiView, purchase_orders.close),
    "purchase-orders/{number}/receive/": (buying.PurchaseReceiveApiView, purchase_orders.receive),
    "purchase-orders/{number}/link/": (buying.PurchaseLinkApiView, purchase_orders.link),
    "supplier-bills/": (buying.SupplierBillsApiView, bills.enter),
    "supplier-bills/{id}/undo/": (buying.SupplierBillUndoApiView, bills.undo),
    "supplier-payments/": (buying.SupplierPaymentsApiView, bills.pay),
    "supplier-payments/{id}/undo/": (buying.SupplierPaymentUndoApiView, bills.undo_payment),
    "expenses/": (buying.ExpensesApiView, expenses.enter),
    "expenses/{id}/undo/": (buying.ExpenseUndoApiView, expenses.undo),
    "recurring-expenses/": (buying.RecurringExpensesApiView, expenses.add_recurring),
    "recurring-expenses/{id}/": (buying.RecurringExpenseApiView, expenses.change_recurring),
    "recurring-expenses/{id}/enter/": (buying.RecurringEnterApiView, expenses.enter_next),
    "recurring-expenses/{id}/skip/": (buying.RecurringSkipApiView, expenses.skip_next),
    "blend-plans/": (blends.BlendPlansApiView, blend_plans.draft),
    "blend-plans/{number}/change/": (blends.BlendPlanChangeApiView, blend_plans.change),
    "blend-plans/{number}/carry-out/": (blends.BlendPlanCarryOutApiView, blend_plans.carry_out),
    "blend-plans/{number}/drop/": (blends.BlendPlanDropApiView, blend_plans.drop),
    "places-added/": (places_api.PlacesAddApiView, places.create),
    "drums-added/": (places_api.DrumsAddApiView, places.create_drums),
    "places/{code}/change/": (places_api.PlaceChangeApiView, places.change),
    "places/{code}/count/": (counts.PlaceCountApiView, count_sheets.count_now),
    "count-sheets/{number}/seals/": (counts.CountSealsApiView, count_sheets.enter_seals),
    "dips-taken/": (dips_api.DipsTakeApiView, dips.record),
    "dips/{id}/accept/": (dips_api.DipAcceptApiView, dips.accept),
    "honey-blends/": (honey_moves.HoneyBlendsApiView, honey.blend),
    "vessels-drained/": (honey_moves.VesselsDrainedApiView, drums.drain),
    "stock-transfers/": (honey_moves.StockTransfersApiView, stores.transfer),
    "postings/{id}/undo/": (honey_moves.PostingUndoApiView, reversals.reverse),
    "lots/{code}/origin/": (honey_moves.LotOriginApiView, lots.set_origin),
    "lots/{code}/cost/": (selling_costs.LotCostApiView, cost_services.set_lot_cost),
    "returned-jars/{id}/mistake/": (jars.JarsMistakeApiView, returned_jars.was_mistake),
    "suppliers/{id}/change/": (honey_of_others.SupplierChangeApiView, suppliers.change),
    "sizes-added/": (sizes_api.SizesAddApiView, size_services.save),
    "sizes/{code}/change/": (sizes_api.SizeChangeApiView, size_services.save),
    "label-sheets-added/": (sizes_api.LabelSheetsAddApiView, label_sheets.save),
    "label-sheets/{code}/change/": (sizes_api.LabelSheetChangeApiView, label_sheets.save),
    "parts-added/": (parts_api.PartsAddApiView, part_services.save),
    "parts/{code}/change/": (parts_api.PartChangeApiView, part_services.save),
    "parts-brought-in/": (parts_api.PartsReceiveApiView, part_services.receive),
    "varieties-added/": (products.VarietiesAddApiView, product_services.save_variety),
    "varieties/{id}/change/": (products.VarietyChangeApiView, product_services.save_variety),
    "brands-added/": (products.BrandsAddApiView, product_services.save_brand),
    "brands/{id}/change/": (products.BrandChangeApiView, product_services.save_brand),
    "products/{code}/prices/": (prices_api.ProductPricesSetApiView, prices.set_product),
    "products/{code}/price-breaks/": (prices_api.PriceBreakApiView, prices.set_piece),
    "products/{code}/tax/": (prices_api.ProductTaxApiView, tax_services.set_class),
    "price-changes/": (prices_api.PriceChangesApiView, prices.change_by_percent),
    "bulk-prices-set/": (prices_api.BulkPricesSetApiView, prices.set_bulk),
    "weight-prices-set/": (prices_api.WeightPricesSetApiView, weight_prices.set_price),
    "services-added/": (prices_api.ServicesAddApiView, service_list.add),
    "services/{code}/change/": (prices_api.ServiceChangeApiView, service_list.change),
    "channel-costs/{channel}/": (selling_costs.ChannelCostApiView, channels.set_cost),
    "filling-times/": (selling_costs.FillingTimesApiView, filling_times.set_minutes),
    "seasons/{year}/expenses/": (selling_costs.SeasonExpensesApiView, seasons.add_expense),
    "customers-added/": (customers_api.CustomersAddApiView, customer_services.add),
    "customers/{id}/change/": (customers_api.CustomerChangeApiView, customer_services.change),
    "customers/{id}/erase/": (customers_api.CustomerEraseApiView, personal_data.erase),
    "orders/{number}/invoice/": (invoices_api.OrderInvoiceApiView, invoices.issue),
    "fulfilments/{id}/undo/": (api_orders.HandOverUndoApiView, order_services.take_back),
    "invoices/{id}/deposit-credits/": (
        invoices_api.DepositCreditApiView,
        credit_notes.credit_deposit,
    ),
    "invoices/{id}/undo-sale/": (invoices_api.SaleUndoApiView, stand.take_back),
    "invoices/{id}/marks-seen/": (stand_marks_api.SaleMarksApiView, stand_marks.see),
    "short-sales-seen/": (stand_marks_api.ShortMarksApiView, stand_marks.see_short),
    "handed-in-sales/": (stand_marks_api.HandedInSalesApiView, handed_in.hand_in),
    "handed-in-sales/{id}/book/": (stand_marks_api.HandedInBookApiView, stand.sell),
    "handed-in-sales/{id}/set-aside/": (
        stand_marks_api.HandedInSetAsideApiView,
        handed_in.settle,
    ),
    "consignment-shelves/{code}/delivered/": (
        trade.ConsignmentDeliverNowApiView,
        consignments.deliver_now,
    ),
    "bottling-plan/search/": (planning_api.PlanSearchApiView, long_search.begin),
    "bottling-plan/runs/": (planning_api.PlanRunsApiView, planning_services.make_draft_runs),
    "season-outlook/": (
        planning_api.SeasonOutlookApiView,
        planning_services.save_season_outlook,
    ),
    "house/": (house_api.HouseApiView, house_services.change),
    "production-settings/": (house_api.ProductionSettingsApiView, production.change),
    "jar-page/": (house_api.JarPageApiView, jar_page.change),
    "set-up/books-begin/": (house_api.BooksBeginApiView, set_up.begin_books_on),
    "people-added/": (people_api.PeopleAddApiView, people.add),
    "people/{id}/role/": (people_api.PersonRoleApiView, people.change_role),
    "people/{id}/password/": (people_api.PersonPasswordApiView, people.reset_password),
    "people/{id}/email/": (people_api.PersonEmailApiView, people.set_email),
    "people/{id}/pin/": (people_api.PersonPinApiView, pins.set_pin),
    "account/pin/": (people_api.OwnPinApiView, pins.set_pin),
    "account/email/": (people_api.OwnEmailApiView, people.set_email),
    "imports/{id}/columns/": (imports_api.ImportColumnsApiView, uploads.match),
    "imports/{id}/bring-in/": (imports_api.ImportBringInApiView, long_lists.bring_in),
    "imports/{id}/undo/": (imports_api.ImportUndoApiView, undoing.undo),
    "invoices-printed/": (work.InvoicesPrintApiView, printing.begin_invoices),
    "statements-printed/": (work.StatementsPrintApiView, printing.begin_statements),
    "reports/{slug}/files/": (work.ReportFilesApiView, long_files.begin),
}
# Fields that say something no parameter of the service does: the unit, or which service it is.
BESIDE = {
    # One way of paying may be sent in fields of its own.
    "stand-sales/": {"method", "tendered_cents"},
    # Each sale is named for itself.
    "stand-sales/bulk/": {"sales"},
    "extractions/": {"brix"},
    "customers/{id}/addresses/": {"id", "is_active"},
    "fulfilments/{id}/delivery/": {"id"},
    "purchases/": {"brix"},
    "others-honey/": {"brix"},
    "goods-receipts/": {"grams"},
    "purchase-orders/{number}/receive/": {"grams"},
    "goods-made/": {"grams"},
    "comb-receipts/": {"grams"},
    "returned-jars/{id}/decide/": {"decision"},
    "account/pin/": {"current_password"},
    "account/email/": {"current_password"},
}
# An act that is told nothing but its address has no body to be wrong in.
WITHOUT_BODY = {
    api_orders.DeliveryAddressRemoveApiView,
    api_orders.OrderReserveMissingApiView,
    bottling.ReadyNowApiView,
    cleaning.CleaningRemoveApiView,
    late_costs_api.LateCostingUndoApiView,
    market_api.HonestyBoxPutAwayApiView,
    market_api.MarketCancelApiView,
    market_api.MarketLoadUndoApiView,
    sessions.OthersSignOutView,
    sessions.SignOutView,
    tokens.TokenRevokeView,
    webhooks_api.WebhookOffApiView,
    webhooks_api.WebhookOnApiView,
    webhooks_api.WebhookRenewApiView,
    webhooks_api.WebhookSendAgainApiView,
    webhooks_api.WebhookTestApiView,
    trade.ConsignmentCancelApiView,
    counts.CountCancelApiView,
    emails.ReminderPauseEndApiView,
    warmings.WarmingRemoveApiView,
    api_orders.OrderRepickApiView,
    bottling_days.BottlingDayDropApiView,
    files_api.FileRemoveApiView,
    house_api.LogoRemoveApiView,
    house_api.SetUpEndApiView,
    house_api.SetUpLeaveApiView,
    house_api.SetUpSaveApiView,
    imports_api.ImportCheckApiView,
    imports_api.ImportDropApiView,
    invoices_api.PrepaymentFreeApiView,
    invoices_api.UseOnAccountApiView,
    measurements.MeasurementRemoveApiView,
    people_api.PersonPasswordLinkApiView,
    people_api.PersonSwitchOffApiView,
    people_api.PersonSwitchOnApiView,
    places_api.PlaceInUseApiView,
    places_api.PlaceOutOfUseApiView,
    prices_api.UsualServicesApiView,
    products.ProductInUseApiView,
    products.ProductOutOfUseApiView,
    selling_costs.SeasonExpenseRemoveApiView,
    selling_costs.SeasonSpreadApiView,
    sizes_api.SizeInUseApiView,
    sizes_api.SizeOutOfUseApiView,
    sizes_api.UsualSizesApiView,
    work.BackupsApiView,
    work.ExportDeleteApiView,
    work.ExportsApiView,
    work.WorkStopApiView,
}


def acts_of(base=views.ApiActView):
    """Yield every act of the API, also one that is a kind of another."""
    for act in base.__subclasses__():
        yield from acts_of(act)
        if {"post", "put"} & vars(act).keys():
            yield act


def parameters_of(service):
    """Return the names that a service takes, those of its details and of the scale used too."""
    names = set(inspect.signature(service).parameters)
    for details in get_type_hints(service).values():
        if get_origin(details) is Unpack:
            names |= set(get_args(details)[0].__annotations__)
    if "scale" in names:
        names |= set(weigh_out.ScaleUsed.__annotations__)
    return names


def test_each_act_of_the_api_is_walked():
    """Each that takes JSON: those that take a file are in test_files_api.py."""
    acts = {view for view in acts_of() if JSONParser in view.parser_classes}
    assert {view for view, _service in SERVICES.values()} == acts - WITHOUT_BODY
    sent = {
        path
        for path, at in schema()["paths"].items()
        for method in ("post", "put")
        if "application/json" in at.get(method, {}).get("requestBody", {}).get("content", {})
    }
    assert {f"/api/v1/{path}" for path in SERVICES} == sent - {"/api/v1/token/"}


@pytest.mark.parametrize("path", SERVICES)
def test_every_field_of_a_body_is_named_by_the_parameter_it_goes_to(path):
    view, service = SERVICES[path]

    named = {view().field_of(parameter) for parameter in parameters_of(service)} - {None}

    assert named == set(view.serializer_class().fields) - BESIDE.get(path, set())
    assert [field for field in named if not is_in_body(path, field)] == []


@pytest.mark.parametrize(
    ("parameter", "field"),
    [
        ("lines", "lines"),
        ("lines.3", "lines.3"),
        ("lines.3.product", "lines.3.product"),
        ("lines.3.quantity", "lines.3.pieces"),
        # The price comes from the price list, so what is wrong with it is wrong with the line.
        ("lines.3.unit_price", "lines.3"),
        ("key", None),
        (None, None),
    ],
)
def test_what_is_wrong_with_a_parameter_is_shown_at_its_field(parameter, field):
    assert views.StandSaleView().field_of(parameter) == field


@pytest.fixture
def house(till, tank):
    builders.place("tank-2")
    builders.lot_in(tank, 100_000)
    weight_prices.set_price(
        tier="stand", price_per_pound=Decimal("4.25"), valid_from=builders.today()
    )


@pytest.mark.parametrize("path", LEAST_BODIES)
def test_whatever_stands_in_a_field_is_answered_and_never_a_fault(call, house, path):
    least = LEAST_BODIES[path]
    bodies = [least, *({name: least[name] for name in least if name != left} for left in least)]
    for name in [*least, *OTHER_FIELDS[path]]:
        bodies += [{**least, name: value} for value in ABSURD]

    for number, body in enumerate(bodies):
        # Wrong passwords would lock the address, and the rest would not be looked at.
        sign_ins.unlock(address="127.0.0.1")
        answer = call("post", path, body, key=f"k{number}")

        # Many wrong passwords are one too many.
        assert answer.status_code in (200, 201, 400, 409, 422, 429), body
    assert list(books.faults()) == []


@pytest.mark.parametrize("path", LEAST_BODIES)
@pytest.mark.parametrize(
    "raw",
    ["", "null", "[]", "5", "{", "9" * 5000, pytest.param("[" * 100_000, id="too deep")],
)
def test_a_body_that_is_no_object_is_answered_and_never_a_fault(call, client, house, path, raw):

    answer = client.post(
        f"/api/v1/{path}",
        raw,
        content_type="application/json",
        headers={"Authorization": builders.authorization("owner"), "Idempotency-Key": "k"},
    )

    assert answer.status_code == 400
    if raw.startswith("[["):
        assert answer.json()["detail"] == "The request has too many nested levels to be read."


def test_a_product_without_a_price_is_named(call):
    builders.place("stand", Place.Kind.STAND)
    builders.product("One pound", code="1-lb")

    body = {"place": "stand", "lines": [{"product": "1-lb", "pieces": 2}], "method": "card"}
    said = problem(call("post", "stand-sales/", body, key="s1"), 422)

    assert said["detail"] == "No stand price is set for One pound."
    assert said["errors"][0]["field"] == "lines.0.product"


@pytest.mark.parametrize(
    ("path", "role"),
    [("invoices/", "stand"), ("orders/", "stand"), ("customers/", "stand")],
)
def test_what_a_role_has_no_business_with_is_kept_from_it(call, path, role):
    problem(call("get", path, role=role), 403)


def test_the_stand_may_not_receive_honey(call, tank):
    problem(call("post", "extractions/", extraction(), role="stand", key="e1"), 403)

    assert Balance.objects.in_vessel(tank) is None


@pytest.mark.parametrize(
    "path",
    ["places/", "lots/", "products/", "stock/", "postings/", "customers/", "orders/", "invoices/"],
)
def test_every_list_answers_with_pages(call, tank, path):
    builders.lot_in(tank, 1000)

    answer = call("get", path)

    assert answer.status_code == 200
    assert set(answer.json()) == {"next", "previous", "results"}


def test_what_is_not_there_is_a_problem_too(call):
    problem(call("get", "lots/26-E99/"), 404)


def test_numbers_travel_as_exact_text(call, tank):
    builders.lot_in(tank, 1000, moisture_percent="17.45")

    lot = call("get", "lots/26-E01/").json()

    assert Decimal(lot["moisture_percent"]) == Decimal("17.45")


# ------------------------------------------------------------------ figures are never guessed


def numbers_of(field, path: str) -> Iterator[tuple[str, fields.Field]]:
    """Yield each number that a body may carry, with the path it has there."""
    if isinstance(field, fields.IntegerField | fields.FloatField | fields.DecimalField):
        yield path, field
    inside = getattr(field, "fields", {}) or ({"0": field.child} if hasattr(field, "child") else {})
    for name, part in inside.items():
        if not part.read_only:
            yield from numbers_of(part, f"{path}.{name}")


NUMBERS = [
    pytest.param(field, id=path)
    for act in acts_of()
    for path, field in numbers_of(act.serializer_class(), act.__name__)
]


def test_the_walk_finds_the_numbers_of_every_body():
    assert {"ExtractionView.grams", "StandSaleView.lines.0.pieces"} <= {
        number.id for number in NUMBERS
    }


# What a reader would have to guess at: each is refused in each number of each body.
GUESSED_AT = [
    "1,000",
    "0,250",
    "1.000,5",
    "1 000",
    "1_000",
    "1e3",
    "+1",
    "１２",
    "١٢",
    "NaN",
    "12 lb",
    " 12",
    "1000.",
    ".5",
    True,
    [12],
    {"grams": 12},
]


def takes(field, written) -> bool:
    try:
        field.run_validation(written)
    except ValidationError:
        return False
    return True


@pytest.mark.parametrize("field", NUMBERS)
def test_a_number_of_a_body_is_plain_or_refused(field):
    assert [written for written in GUESSED_AT if takes(field, written)] == []


@pytest.mark.parametrize("written", ["17.4", "17.40", 17.4, 17])
def test_a_decimal_of_a_body_is_a_json_number_or_a_string_with_a_point(written):
    taken = serializers.ExtractionSerializer().fields["moisture_percent"].run_validation(written)

    assert taken == Decimal(str(written))


def test_the_api_keeps_to_the_point_in_a_comma_house(call, tank, comma_house):
    call("post", "extractions/", extraction(moisture_percent="17.45"), key="e1")
    said = problem(
        call("post", "extractions/", extraction(moisture_percent="17,45"), key="e2"), 400
    )

    assert said["errors"][0]["field"] == "moisture_percent"
    assert [lot["moisture_percent"] for lot in call("get", "lots/").json()["results"]] == ["17.45"]


def test_stock_and_products_say_what_they_are_counted_in(client):
    client.force_login(builders.person())
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.goods_lot(builders.goods("Wax", is_weighed=True), shelf, 2_500, maker_lot="W-1")
    builders.goods_lot(builders.goods("Candle"), shelf, 12)

    stock = client.get("/api/v1/stock/").json()["results"]
    products = client.get("/api/v1/products/").json()["results"]
    lot = client.get("/api/v1/lots/W-1/").json()

    assert [(row["item"], row["kind"], row["unit"], row["quantity"]) for row in stock] == [
        ("Candle", "goods", "pieces", 12),
        ("Wax", "goods", "grams", 2_500),
    ]
    assert {row["code"]: (row["kind"], row["unit"]) for row in products} == {
        "wax": ("goods", "grams"),
        "candle": ("goods", "pieces"),
    }
    assert (lot["kind"], lot["unit"], lot["quantity_made"]) == ("goods", "grams", 2_500)
