"""A client that a general-purpose generator makes of the description does the main job."""

import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from types import SimpleNamespace
from urllib.request import urlopen

import pytest

from apiary_sales.pricing.services import prices
from inventory.stock.models import Place
from tests import builders

CLIENT = "honey_house_client"
# How a generated client is to read what is no JSON; and that nothing reformats its files.
CONFIG = """
post_hooks: []
content_type_overrides:
  application/pdf: application/octet-stream
  application/xml: application/octet-stream
  application/zip: application/octet-stream
  image/png: application/octet-stream
"""


@pytest.fixture
def house(live_server, transactional_db) -> str:
    """A house with a tank, a stand, a size with prices and a customer; return its address."""
    builders.person("owner")
    builders.place("tank-1")
    builders.place("stand-1", Place.Kind.STAND)
    pound = builders.product("One pound", code="pound")
    for tier, cents in (("stand", 1200), ("shop", 850)):
        prices.set_piece(product=pound, tier=tier, piece_cents=cents, valid_from=builders.today())
    builders.customer("Larkspur Pantry", kind="shop", tier="shop")
    return str(live_server.url)


@pytest.fixture
def generated(house, tmp_path, monkeypatch) -> Iterator[SimpleNamespace]:
    """The client, made of the description that the house itself tells, with a key of its own."""
    with urlopen(f"{house}/api/v1/schema/") as answer:
        (tmp_path / "schema.json").write_bytes(answer.read())
    (tmp_path / "config.yml").write_text(CONFIG)
    options = f"--path schema.json --config config.yml --meta none --output-path {CLIENT}"
    made = subprocess.run(
        [sys.executable, "-m", "openapi_python_client", "generate", *options.split()],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    # It warns of what it can't make anything of.
    assert (made.returncode, made.stderr) == (0, "")
    monkeypatch.syspath_prepend(tmp_path)
    clients, models = import_module(f"{CLIENT}.client"), import_module(f"{CLIENT}.models")
    with clients.Client(base_url=house) as anybody:
        given = asked(
            "access.token_create",
            models.TokenGiven,
            client=anybody,
            body=models.NamePasswordRequest(username="owner", password="owner", name="Shop"),
        )
    options = {"base_url": house, "token": given.token, "prefix": "Token"}
    with clients.AuthenticatedClient(**options) as signed_in:
        yield SimpleNamespace(models=models, signed_in=signed_in)


def asked(name, kind, **said):
    told = import_module(f"{CLIENT}.api.{name}").sync(**said)
    assert isinstance(told, kind), told
    return told


def test_a_generated_client_does_the_main_job(generated):
    models = generated.models
    today = builders.today()

    def ask(name, kind, **said):
        """Ask what an operation of a subject asks, and expect this kind of answer."""
        return asked(name, kind, client=signed_in, **said)

    def act(name, kind, body, key, **where):
        return ask(name, kind, body=body, idempotency_key=key, **where)

    signed_in = generated.signed_in

    lot = act(
        "honey.extractions_create",
        models.Lot,
        models.ExtractionRequest(
            place="tank-1",
            grams=100_000,
            season=today.year,
            floral_source="Clover",
            extracted_on=today,
            moisture_percent="17.4",
        ),
        key="extraction",
    )
    planned = act(
        "bottling.runs_create",
        models.Run,
        models.RunToPlanRequest(
            product="pound", source="tank-1", target="stand-1", pieces=60, planned_for=today
        ),
        key="plan",
    )
    run = act(
        "bottling.runs_record_create",
        models.Run,
        models.RunToRecordRequest(pieces_filled=60),
        key="record",
        number=planned.number,
    )
    sale = act(
        "stand.stand_sales_create",
        models.StandSaleMade,
        models.StandSaleRequest(
            place="stand-1",
            lines=[models.StandSaleLineRequest(product="pound", pieces=2)],
            method=models.WayOfPayingEnum.CASH,
            tendered_cents=3000,
        ),
        key="sale",
    )
    [customer] = ask("customers.customers_list", models.PaginatedCustomerList).results
    order = act(
        "orders.orders_taken_create",
        models.Order,
        models.OrderWantedRequest(
            customer=customer.id,
            channel=models.OrderChannelEnum.SHOP,
            lines=[
                models.LineWantedRequest(
                    kind=models.OrderLineKindEnum.PACKED,
                    product="pound",
                    quantity=12,
                    unit_price="8.50",
                )
            ],
        ),
        key="order",
    )
    delivery = act(
        "orders.orders_hand_over_create",
        models.Fulfilment,
        models.HandOverRequest(),
        key="hand-over",
        number=order.number,
    )
    invoice = act(
        "orders.orders_invoice_create",
        models.Invoice,
        models.InvoiceToIssueRequest(),
        key="invoice",
        number=order.number,
    )
    payment = act(
        "invoices.payments_create",
        models.Payment,
        models.ReceiveRequest(
            customer=customer.id,
            amount_cents=invoice.total_cents,
            method=models.WayOfPayingEnum.TRANSFER,
            allocations=[models.ShareRequest(invoice=invoice.id, amount_cents=invoice.total_cents)],
        ),
        key="payment",
    )
    recalled = ask("recall.recall_lots", models.PaginatedLotAccountList, lot=lot.id)
    refused = act(
        "stand.stand_sales_create",
        models.Problem,
        models.StandSaleRequest(
            place="stand-1",
            lines=[models.StandSaleLineRequest(product="pound", pieces=47)],
            method=models.WayOfPayingEnum.CASH,
            tendered_cents=60_000,
        ),
        key="too much",
    )

    assert (run.status, run.pieces_filled) == ("recorded", 60)
    assert (sale.total_cents, sale.change_cents) == (2400, 600)
    assert [(line.lot, line.quantity) for line in delivery.lines] == [(run.lot_code, 12)]
    assert (invoice.total_cents, invoice.credits_) == (10_200, None)
    assert [paid.invoice for paid in payment.invoices] == [invoice.number]
    paid = ask("invoices.invoices_retrieve", models.Invoice, id=invoice.id)
    assert paid.open_cents == 0
    assert [(each.code, each.still_out) for each in recalled.results] == [
        (lot.code, 0),
        (run.lot_code, 14),
    ]
    # Of 60 jars 2 and 12 are sold.
    assert (refused.status, refused.code) == (409, "not_enough_stock")
    [error] = refused.errors
    assert error.field == "lines.0.pieces"
