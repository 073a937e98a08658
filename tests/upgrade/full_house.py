"""Make the house that a dump is taken of: the demo's, with a row or more in every table.

Run it with `manage.py shell`, in an empty database of its own. The clock stands at
`databases.MADE_AT`, so that making it again gives the same rows.
"""

from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from unittest import mock
from uuid import UUID

import time_machine
from auditlog.models import LogEntry as TrailEntry
from axes.models import AccessAttempt, AccessAttemptExpiration, AccessFailureLog, AccessLog
from django.apps import apps
from django.contrib.admin.models import CHANGE, LogEntry
from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone
from django_otp.oath import totp
from django_tasks_db.models import DBTaskResult

from apiary_sales.accounts.models import SellerPin, SignIn, User
from apiary_sales.accounts.second_step_models import Passkey, SecondStepRule
from apiary_sales.accounts.services import pins, second_steps, set_up, sign_ins, tokens
from apiary_sales.api.models import KeptAnswer
from apiary_sales.billing import chart_of_accounts
from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.services import (
    account_months,
    adjustments,
    bills,
    bounced_checks,
    cash_counts,
    closing,
    consignment_reports,
    credit_notes,
    deposit_slips,
    drum_deposits,
    expenses,
    handed_in,
    interest,
    invoices,
    late_certificates,
    ledger_accounts,
    money_moves,
    opening,
    payments,
    purchase_orders,
    return_requests,
    service_bills,
    stand,
    stand_days,
    weight_sales,
)
from apiary_sales.billing.services.bills import BillPaid, LineBilled
from apiary_sales.billing.services.purchase_orders import LineOrdered
from apiary_sales.billing.services.stand_marks import MarkFound
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.billing.stand_return_rules import PiecesBack
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import addresses, certificates, customers, personal_data
from apiary_sales.imports.models import ImportKind
from apiary_sales.imports.services import bringing_in, checking, uploads
from apiary_sales.keeping.models import Backup, SharedKeyAndFiles
from apiary_sales.keeping.services import backups
from apiary_sales.mailing.models import Email
from apiary_sales.mailing.services import delivery, emails, reminders
from apiary_sales.mailing.services import texts as email_texts
from apiary_sales.orders import late_costs as late_costs_of_sales
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.orders.queries import late_costs as late_cost_rows
from apiary_sales.orders.queries import recall
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.contracts import PriceStep
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import (
    consignments,
    contracts,
    deliveries,
    drum_register,
    late_costs,
    orders,
    quotes,
    recalls,
    rounds,
    standing_orders,
    weigh_out,
)
from apiary_sales.planning import services as planning
from apiary_sales.pricing.models import Service
from apiary_sales.pricing.services import (
    filling_times,
    prices,
    private_labels,
    seasons,
    service_list,
    taxes,
)
from apiary_sales.webhooks.services import endpoints
from inventory.bottling.models import BottlingRun, PackagingPart, PartReceipt, Product, Size
from inventory.bottling.services import (
    bottling_days,
    comb,
    costs,
    delivery_corrections,
    estimates,
    fill_checks,
    gift_boxes,
    goods,
    jar_page,
    jars,
    part_closings,
    parts,
    products,
    returned_jars,
    reversals,
    run_corrections,
    runs,
)
from inventory.bottling.services.bottling_days import RowFilled
from inventory.bottling.services.products import PartUse
from inventory.shared import mailable
from inventory.shared.errors import BadValue
from inventory.shared.models import Attachment, House
from inventory.shared.services import books_lock, files, long_work, sent_forms
from inventory.shared.services import house as house_details
from inventory.stock.blends import BlendLimits
from inventory.stock.models import AverageClosing, Balance, Lot, Place
from inventory.stock.services import (
    average_closings,
    blend_plans,
    count_sheets,
    dips,
    honey,
    measurements,
    others,
    places,
    purchases,
    stores,
    suppliers,
)
from inventory.stock.services.arrivals import VesselReceived
from inventory.stock.services.count_sheets import CountedThing
from tests.upgrade import bill_data, databases
from tests.uploads import PDF, upload


def make() -> None:
    with time_machine.travel(databases.MADE_AT, tick=False):
        call_command("demo", no_serve=True, short=True)
        _do_what_the_demo_leaves_out()
        call_command("verify_ledger")
    _check_the_bills()
    _take_out_what_differs_each_time()
    _check_that_every_table_has_rows()


def _do_what_the_demo_leaves_out() -> None:
    people = {user.role: user for user in User.objects.all()}
    _make_honey(people[User.Role.BOTTLING])
    _plan_blends(people[User.Role.BOTTLING])
    _measure(people[User.Role.BOTTLING])
    _take_in_honey_of_others(people[User.Role.BOTTLING])
    _bottle(people[User.Role.BOTTLING])
    _fill_in_bottling_days(people[User.Role.BOTTLING])
    _make_other_forms(people[User.Role.BOTTLING])
    _count_the_shelf(people[User.Role.BOTTLING])
    _count_everything(people[User.Role.OWNER], people[User.Role.BOTTLING])
    _trade_goods(people[User.Role.BOTTLING])
    _change_jars(people[User.Role.BOTTLING])
    _give_jars_a_page()
    _set_costs()
    _expect_of_the_season(people[User.Role.OWNER])
    _add_a_private_label()
    _sell_drums(people[User.Role.OFFICE])
    _sell_jars(people[User.Role.OFFICE], people[User.Role.STAND])
    _free_from_tax(people[User.Role.OWNER])
    _recall(people[User.Role.OFFICE])
    _sell_by_weight_and_serve(people[User.Role.OFFICE], people[User.Role.STAND])
    _keep_a_stand_day(people[User.Role.STAND])
    _keep_the_money(people[User.Role.OFFICE])
    _come_late(people[User.Role.BOTTLING])
    _write_e_mails(people[User.Role.OFFICE])
    _buy(people[User.Role.OFFICE])
    _trade_regularly(people[User.Role.OFFICE])
    _cost_late(people[User.Role.OFFICE])
    _use_the_back_office(people[User.Role.OWNER], people[User.Role.OFFICE])
    _name_an_account()
    _bring_in_lists(people[User.Role.OWNER])
    # The clock stands, so that nothing that comes after could be told from what was before.
    _close_the_books(people[User.Role.OWNER])


def _make_honey(person) -> None:
    """Pour, spoil, dip without accepting, undo; a tank with a calibration table."""
    tank = Place.objects.get(code="tank-2")
    tote = places.create(
        kind=Place.Kind.TOTE,
        code="tote-1",
        name="Tote with a gauge",
        shape=places.Shape(form="table", points=[(0, Decimal(0)), (500, Decimal(480))]),
    )
    places.create(kind=Place.Kind.PAIL, code="pail-1", name="Pail", tare_grams=900)
    honey.transfer(source=tank, target=tote, grams=40_000, recorded_by=person, key="full:pour")
    wrong = honey.transfer(
        source=tank, target=tote, grams=5_000, recorded_by=person, key="full:wrong-pour"
    )
    reversals.reverse(posting=wrong, recorded_by=person, key="full:undone", note="Wrong tote")
    for reason in ("spoilage", "own_use", "gift", "skimming", "spill", "feeding", "sample"):
        honey.write_off(
            place=tote, grams=1_000, reason=reason, recorded_by=person, key=f"full:{reason}"
        )
    dips.record(place=tank, depth_mm=300, celsius=Decimal(30), recorded_by=person, key="full:dip")
    places.take_out_of_use(place=Place.objects.get(code="D-012"))


def _plan_blends(person) -> None:
    """Plan three blends: one is carried out, one is dropped, one stays a draft."""
    tank, pail = Place.objects.get(code="tank-2"), Place.objects.get(code="pail-1")
    limits = BlendLimits(
        grams_min=500, grams_max=2_000, colour_mm_max=Decimal(85), moisture_percent_max=Decimal(20)
    )
    poured, dropped, _draft = (
        blend_plans.draft(
            target=pail,
            sources=[(tank, grams)],
            limits=limits,
            buyer="Corner Packer",
            planned_by=person,
            key=f"full:blend-{grams}",
        )
        for grams in (600, 700, 800)
    )
    blend_plans.drop(plan=dropped, dropped_by=person, reason="No longer wanted")
    blend_plans.carry_out(plan=poured, carried_out_by=person, key="full:blend-poured")


def _measure(person) -> None:
    """Attach a laboratory's report to a lot with its figure, and remove another file."""
    lot = Lot.objects.filter(kind=Lot.Kind.EXTRACTION).order_by("pk")[0]
    report, wrong = (
        files.attach(
            thing=lot,
            file=upload(f"{name}.pdf", PDF + name.encode() + b"\n%%EOF\n"),
            kind="laboratory",
            added_by=person,
            key=f"full:{name}",
        )
        for name in ("report", "wrong")
    )
    files.remove(attachment=wrong, removed_by=person)
    measurements.record(
        lot=lot,
        what="hmf",
        value=Decimal("8.4"),
        measured_on=lot.made_on,
        is_laboratory=True,
        laboratory="Prairie Analytics",
        report=report,
        recorded_by=person,
        key="full:hmf",
    )
    measurements.measure_again(
        place=Place.objects.get(code="tank-1"),
        measured_on=timezone.localdate(),
        moisture_percent=Decimal("17.3"),
        celsius=Decimal(31),
        recorded_by=person,
        key="full:again",
    )


def _take_in_honey_of_others(person) -> None:
    """Buy a delivery; keep honey of a beekeeper, hand some back and buy some of it."""
    house_details.change(origin_country="US", origin_rule=House.OriginRule.PERCENTAGES)
    bought, kept, mixed = (
        places.create(kind=Place.Kind.TOTE, code=f"tote-{number}", name=f"Tote {number}")
        for number in (2, 3, 4)
    )
    facts = {
        "floral_source": "Rosemary",
        "season": databases.MADE_AT.year,
        "received_on": timezone.localdate(),
        "moisture_percent": Decimal("17.1"),
        "recorded_by": person,
    }
    purchases.receive(
        supplier="Olmo Honey",
        supplier_lot="OL-77",
        country="ES",
        region="Cuenca",
        vessels=[VesselReceived(bought, net_grams=90_000)],
        cost_cents=45_000,
        key="full:bought",
        **facts,
    )
    owner = suppliers.add(name="Hanna Birch", kind="beekeeper", country="US")
    customers.add(name="Birch Farm", supplier=owner)
    others.receive(
        owner=owner,
        kind="stored",
        vessels=[VesselReceived(kept, net_grams=120_000)],
        key="full:kept",
        **facts,
    )
    others.hand_back(place=kept, grams=20_000, recorded_by=person, key="full:handed-back")
    others.buy(
        place=kept,
        grams=30_000,
        target=mixed,
        price_per_pound=Decimal("1.80"),
        recorded_by=person,
        key="full:bought-from-owner",
    )


def _bottle(person) -> None:
    """Plan a run, cancel one, and check one that fails: its lot is kept from sale."""
    plans = [
        runs.plan(
            product=Product.objects.get(code="half-pound"),
            source=Place.objects.get(code="tank-1"),
            target=Place.objects.get(code="storeroom"),
            pieces=pieces,
            planned_for=timezone.localdate() + timedelta(days=2),
            planned_by=person,
            key=f"full:plan-{pieces}",
        )
        for pieces in (36, 24)
    ]
    runs.cancel(run=plans[1], cancelled_by=person, reason="Too few jars")
    fill_checks.record(
        run=plans[0],
        scheme="us",
        weights_milligrams=[229_000, 230_000],
        checked_by=person,
        key="full:nozzle",
    )
    for code, milligrams in (("quart", 1_375_000), ("half-pound", 222_000)):
        fill_checks.record(
            run=BottlingRun.objects.get(product__code=code, status="recorded"),
            scheme="us",
            weights_milligrams=[milligrams + 10 * number for number in range(12)],
            checked_by=person,
            key=f"full:check-{code}",
        )


def _fill_in_bottling_days(person) -> None:
    """Record a day that is estimated and settle it; leave the sheet of another tank open."""
    today = timezone.localdate()
    sheet = {
        "source": Place.objects.get(code="tank-1"),
        "bottled_on": today,
        "target": Place.objects.get(code="storeroom"),
    }
    rows = [RowFilled(Product.objects.get(code="gallon"), 2)]
    day = bottling_days.record(**sheet, rows=rows, recorded_by=person, key="full:bottling-day")
    run = BottlingRun.objects.get(day_rows__day=day)
    estimates.settle(
        source=day.source,
        measured_on=today,
        honey_grams=Balance.objects.grams_on(day.source, today) - 50,
        settled_by=person,
        key=f"full:settle-{run.number}",
    )
    bottling_days.save(**sheet, rows=rows, saved_by=person)


def _make_other_forms(person) -> None:
    """Harvest comb, cut some, and fill creamed honey with seed and chunk honey with comb."""
    storeroom, pail = (Place.objects.get(code=code) for code in ("storeroom", "pail-1"))
    tote = Place.objects.get(code="tote-1")
    today = timezone.localdate()
    size = Size.objects.get(code="half-pound")
    by_weight = products.save_honey(
        size=Size.objects.get(code="quart"), form="comb", name="Comb to cut", is_weighed=True
    )
    squares, creamed, chunk = (
        products.save_honey(size=size, form=form) for form in ("comb", "creamed", "chunk")
    )
    honey.transfer(source=tote, target=pail, grams=2_000, recorded_by=person, key="full:seed")
    lot = comb.receive(
        product=by_weight,
        place=storeroom,
        quantity=3_000,
        season=today.year,
        floral_source="Clover",
        harvested_on=today,
        recorded_by=person,
        key="full:comb",
    )
    comb.cut(
        comb=Balance.objects.get(lot=lot, place=storeroom),
        comb_grams=1_000,
        product=squares,
        pieces=4,
        target=storeroom,
        loss_grams=50,
        recorded_by=person,
        key="full:cut",
    )
    beside = {
        creamed: {"seed_source": pail, "seed_percent": Decimal(10), "setting_place": "Cellar"},
        chunk: {
            "comb": Balance.objects.get(lot=lot, place=storeroom),
            "comb_grams_each": 60,
        },
    }
    for product, wanted in beside.items():
        run = runs.plan(
            product=product,
            source=tote,
            target=storeroom,
            pieces=2,
            planned_for=today,
            planned_by=person,
            key=f"full:plan-{product.form}",
            **wanted,
        )
        runs.record(
            run=run,
            pieces_filled=2,
            pieces_broken=0,
            drawn_grams=410,
            drawn_by=BottlingRun.DrawnBy.SCALE,
            loss_grams=0,
            labour_minutes=20,
            celsius=None,
            recorded_by=person,
            key=f"full:record-{product.form}",
        )


def _count_the_shelf(person) -> None:
    shelf = Place.objects.get(code="storeroom")
    there = Balance.objects.filter(
        place=shelf, item__kind="packed", lot__product__code="1-lb"
    ).get()
    what = {"item": there.item, "lot": there.lot, "place": shelf, "recorded_by": person}
    stores.write_off(**what, pieces=1, reason="breakage", key="full:broken")
    stores.count(
        **what, counted=there.quantity - 3, reason="Counted after the market", key="full:count"
    )


def _change_jars(person) -> None:
    """Fill jars without labels, label some, empty some; box jars, unbox one; keep jars apart."""
    shelf, pail = Place.objects.get(code="storeroom"), Place.objects.get(code="pail-1")
    pound = Product.objects.get(code="1-lb")
    run = runs.plan(
        product=pound,
        source=Place.objects.get(code="tank-1"),
        target=shelf,
        pieces=24,
        planned_for=timezone.localdate(),
        planned_by=person,
        key="full:plain-plan",
        without_labels=True,
    )
    run = runs.record(
        run=run,
        pieces_filled=24,
        pieces_broken=0,
        drawn_grams=11_100,
        drawn_by="scale",
        loss_grams=100,
        labour_minutes=30,
        celsius=None,
        before_mm=420,
        after_mm=400,
        recorded_by=person,
        key="full:plain",
    )
    plain = run.packed_lot
    what = {"place": shelf, "changed_by": person}
    labelled = jars.label(lot=plain, product=pound, pieces=12, key="full:label", **what).lot
    jars.empty(lot=plain, pieces=4, grams=1_790, vessel=pail, key="full:empty", **what)
    box = gift_boxes.save(name="Winter box", contents=[gift_boxes.BoxLine(pound, 2)])
    boxes = gift_boxes.put_together(box=box, boxes=3, key="full:box", **what).lot
    gift_boxes.take_apart(lot=boxes, boxes=1, key="full:unbox", **what)
    for key in ("spoiled", "waiting"):
        returned = returned_jars.set_aside(
            lot=labelled,
            place=shelf,
            pieces=1,
            reason="In a shop's window",
            recorded_by=person,
            key=f"full:{key}",
        )
        if key == "spoiled":
            returned_jars.write_off(
                returned=returned, pieces=1, recorded_by=person, key="full:returned-spoiled"
            )


def _count_everything(owner, person) -> None:
    """Count some on a sheet that is closed, and open another one that is half filled in."""
    shelf, tote = Place.objects.get(code="storeroom"), Place.objects.get(code="tote-1")
    there = Balance.objects.filter(place=shelf, item__kind="part", quantity__gt=5).first()
    for number, closes in enumerate((True, False)):
        sheet = count_sheets.open_sheet(
            name=f"Count {number}", is_blind=not closes, opened_by=owner, key=f"full:sheet-{number}"
        )
        for counted in (there.quantity - number - 2, there.quantity - number - 1):
            count_sheets.enter(
                sheet=sheet,
                place=shelf,
                things=[CountedThing(there.item, there.lot, counted)],
                counted_by=person,
                key=f"full:sheet-{number}-{counted}",
            )
        count_sheets.enter_vessel(
            sheet=sheet,
            vessel=tote,
            how="dip",
            depth_mm=40,
            celsius=Decimal(25),
            counted_by=person,
            key=f"full:sheet-{number}-dip",
        )
        if closes:
            count_sheets.close(
                sheet=sheet, reason="End of the month", closed_by=owner, key="full:closed"
            )
    count_sheets.count_now(
        place=shelf,
        things=[CountedThing(there.item, there.lot, there.quantity - 3)],
        counted_by=person,
        key="full:counted-now",
    )


def _trade_goods(person) -> None:
    """Buy wax, make candles of some, and give those a price and a tax."""
    shelf, day = Place.objects.get(code="storeroom"), timezone.localdate()
    wax = goods.save(name="Block wax", is_weighed=True, low_stock=5_000)
    candle = goods.save(name="Pillar candle", low_stock=6)
    goods.receive(
        product=wax,
        place=shelf,
        quantity=20_000,
        cost_cents=24_000,
        supplier="Valley Wax Works",
        maker_lot="VW-118",
        received_on=day,
        recorded_by=person,
        key="full:wax",
    )
    goods.make(
        product=candle,
        place=shelf,
        quantity=24,
        made_on=day,
        materials=[goods.Material(wax, 6_200, lost=200)],
        labour_minutes=90,
        recorded_by=person,
        key="full:candles",
    )
    prices.set_piece(product=candle, tier="stand", piece_cents=950, valid_from=day)
    taxes.set_class(product=candle, taxed_as="other")


def _give_jars_a_page() -> None:
    jar_page.change(
        is_on=True,
        shows_floral_source=True,
        region="Harrow Valley",
        dates="day",
        shows_colour=True,
        shows_moisture=True,
        shows_phone=True,
        shows_email=True,
        note="Keep it closed, and warm it gently when it sets.",
        hold_sentence="Please bring this jar back to us.",
    )


def _set_costs() -> None:
    seasons.add_expense(
        season=databases.MADE_AT.year,
        category="feed",
        amount_cents=41_500,
        key="full:feed",
        note="Sugar",
    )
    filling_times.set_minutes({Product.objects.get(code="1-lb"): Decimal("0.8")})


def _expect_of_the_season(person) -> None:
    planning.save_season_outlook(
        outlook="careful",
        kept_per_pound=Decimal("2.10"),
        storage_per_pound=Decimal("0.01"),
        interest_percent=Decimal(6),
        drum_month_grams=3_000_000,
        drum_year_grams=None,
        harvest_month=7,
        harvest_grams=5_000_000,
        harvest_spread_grams=1_000_000,
        room_grams=None,
        hours=Decimal(40),
        hours_by_month={12: Decimal(60)},
        changed_by=person,
    )


def _add_a_private_label() -> None:
    """Add buckwheat under a shop's own name, with a label of its own."""
    label = parts.save(name="Wren Hollow label", kind="label", reorder_point=0)
    product = products.save_honey(
        size=Size.objects.get(code="1-lb"),
        new_variety="Buckwheat",
        new_floral_source="buckwheat",
        new_brand="Wren Hollow",
        parts=[PartUse(label)],
    )
    private_labels.set_customer(
        brand=product.brand, customer=Customer.objects.get(name="Wren Hollow Farm Shop")
    )


def _sell_drums(person) -> None:
    """Leave a quote open; deliver the drums of the other, bill them, and take one back empty."""
    drum = Place.objects.get(code="D-003")
    there = Balance.objects.in_vessel(drum)
    quotes.quote(
        customer=Customer.objects.get(name="Copperkettle Packing"),
        lines=[
            LineWanted(
                kind=OrderLine.Kind.HONEY,
                quantity=there.quantity,
                unit_price=Decimal("2.9500"),
                drum=drum,
                lot=there.lot,
            )
        ],
        valid_until=timezone.localdate() + timedelta(days=14),
        created_by=person,
        key="full:quote",
    )
    addresses.add(
        customer=Customer.objects.get(name="Copperkettle Packing"),
        name="Dock 4",
        city="Elm Hollow",
        key="full:address",
    )
    order = Order.objects.get(idempotency_key="demo:quote")
    gone = weigh_out.hand_over(
        order=order,
        filled_by=person,
        key="full:drums",
        scale=weigh_out.ScaleUsed(name="Floor scale", weighed_by="Ines"),
        drums={
            line.pk: weigh_out.DrumOnScale(net_grams=line.to_fill - 200, seal=f"S-{line.pk}")
            for line in order.lines.filter(kind=OrderLine.Kind.HONEY)
        },
    )
    deliveries.describe(fulfilment=gone, carrier="Plains Freight", packages=3)
    invoice = invoices.issue(order=order, issued_by=person, key="full:drums-invoice")
    drum_register.take_back(
        outings=drum_register.outings_of(order, [Place.objects.get(code="D-001")]),
        received_by=person,
        key="full:drums-back",
    )
    credit_notes.credit_deposit(invoice=invoice, drums=1, issued_by=person, key="full:deposit-back")
    lost = FulfilmentLine.objects.still_out().filter(fulfilment=gone)[:1]
    drum_deposits.report_lost(
        outings=list(lost.select_related("order_line__drum", "fulfilment")),
        reported_by=person,
        key="full:drum-lost",
        note="Never came back",
    )


def _sell_jars(seller, minder) -> None:
    """Fill a part, cancel, credit, undo a stand sale and a payment, pay money back."""
    order = Order.objects.get(idempotency_key="demo:open")
    line = order.lines.get(product__code="quart")
    orders.fulfil(order=order, filled_by=seller, key="full:part", quantities={line.pk: 2})
    buyer = Customer.objects.get(name="Wren Hollow Farm Shop")
    wanted = LineWanted(
        kind=OrderLine.Kind.PACKED,
        product=Product.objects.get(code="1-lb"),
        quantity=12,
        unit_price=Decimal("7.2500"),
    )
    cancelled = orders.take(
        customer=buyer, channel="shop", lines=[wanted], created_by=seller, key="full:order"
    )
    orders.cancel(order=cancelled, cancelled_by=seller, key="full:cancelled", reason="Too late")
    billed = Invoice.objects.get(idempotency_key="demo:past-44-invoice")
    jars_sold = billed.lines.filter(fulfilment_line__order_line__product__isnull=False)[0]
    shelf = Place.objects.get(code="storeroom")
    credit_notes.credit(
        invoice=billed,
        issued_by=seller,
        key="full:credit",
        reason="Jars came back",
        goods_back=[GoodsBack(jars_sold.fulfilment_line, 1, shelf)],
    )
    stand.take_back(
        receipt=stand.find("demo:stand-week-1").invoice,
        taken_by=minder,
        key="full:receipt-undone",
        reason="Wrong jar",
    )
    _take_jars_back_at_the_stand(seller, minder)
    shop = Customer.objects.get(name="Harrow Lane Grocery")
    for key in ("full:bounced", "full:too-much"):
        paid = payments.receive(
            customer=shop,
            # More than the shop owes, so that some is on its account.
            amount_cents=60_000,
            method=Payment.Method.CHECK,
            received_by=seller,
            key=key,
        )
        if key == "full:bounced":
            payments.reverse(
                payment=paid, reversed_by=seller, key="full:reversed", reason="Check bounced"
            )
    payments.pay_back(
        customer=shop,
        amount_cents=2_000,
        method=Payment.Method.CHECK,
        paid_by=seller,
        key="full:paid-back",
    )


def _free_from_tax(owner) -> None:
    """Accept a certificate that came after wax was billed with tax."""
    bakery = Customer.objects.get(name="Pinfold Bakery")
    fee = Service.objects.filter(taxed_as="services").first() or service_list.add(
        name="Wax rendering", unit="hour", usual_price=Decimal(20), taxed_as="services"
    )
    prices.set_tax_rate(
        name="County tax",
        jurisdiction="Elder County",
        goods="services",
        percent=Decimal("0.5"),
        valid_from=timezone.localdate(),
    )
    billed = service_bills.bill(
        customer=bakery,
        lines=[LineWanted(OrderLine.Kind.SERVICE, 100, Decimal(20), service=fee)],
        billed_by=owner,
        key="full:taxed-service",
    )
    certificate = certificates.accept(
        customer=bakery,
        number="OR-5512",
        jurisdiction="Wisconsin",
        reason="other",
        other_reason="works for a school",
        valid_from=timezone.localdate(),
        accepted_by=owner,
        key="full:certificate",
    )
    late_certificates.accept(
        certificate=certificate,
        invoice=billed,
        note="accepted in good faith within 90 days",
        accepted_by=owner,
        key="full:late-certificate",
    )


def _recall(person) -> None:
    """Finish a mock recall, leave a real one running; hold a lot and release it."""
    lot = Lot.objects.filter(kind=Lot.Kind.PACKED, is_on_hold=False).earliest("pk")
    answer = recall.answer([lot.pk], with_sales=True)
    started = [
        recalls.start(
            kind=kind,
            code=lot.code,
            lots=[lot],
            reason=reason,
            answer=answer.as_json(),
            percent_accounted=answer.percent_accounted,
            percent_found=answer.percent_found,
            started_by=person,
            key=f"full:recall-{kind}",
        )
        for kind, reason in (("mock", "Yearly exercise"), ("real", "A lid came off"))
    ]
    recalls.finish(
        recall=started[0],
        notes="Counted the storeroom.",
        answer=answer.as_json(),
        finished_by=person,
    )
    recalls.hold(lots=[lot], reason="A lid came off", held_by=person, key="full:recall-held")
    recalls.release(
        lots=[lot], reason="All lids are tight", released_by=person, key="full:recall-released"
    )


def _take_jars_back_at_the_stand(clerk, minder) -> None:
    """Ask for a jar of an older sale and for one without a receipt; the first is given back."""
    sale = stand.find("demo:stand-week-2")
    asked = return_requests.ask(
        receipt=sale.receipt,
        lines=[PiecesBack(sale.receipt.lines.earliest("id"), 1)],
        reason="The lid leaks",
        asked_by=minder,
        key="full:return-asked",
    )
    return_requests.approve(request=asked, approved_by=clerk, key="full:return-approved")
    return_requests.give_back(
        request=asked, given_by=minder, key="full:return-given", check_has_cleared=True
    )
    return_requests.ask_without_receipt(
        place=sale.place,
        product=Product.objects.get(code="1-lb"),
        pieces=1,
        price_cents=950,
        reason="Too dark",
        asked_by=minder,
        key="full:return-no-receipt",
    )


def _sell_by_weight_and_serve(seller, minder) -> None:
    """Draw honey into a buyer's own container, and bill a fee."""
    weighed = weighing.on_scale(gross_grams=6_000, tare_grams=350)
    stand.sell(
        lines=[
            LineWanted(
                kind=OrderLine.Kind.HONEY,
                quantity=weighed.net_grams,
                unit_price=Decimal("4.2500"),
                drum=Place.objects.get(code="tank-2"),
                is_drawn=True,
                weighed=weighed,
            )
        ],
        place=Place.objects.get(code="stand"),
        payments=[PaymentMade(Payment.Method.CARD)],
        sold_by=minder,
        key="full:by-weight",
    )
    fee = LineWanted(
        kind=OrderLine.Kind.SERVICE,
        quantity=100,
        unit_price=Decimal(35),
        service=Service.objects.get(code="returned-check"),
    )
    service_bills.bill(
        customer=Customer.objects.get(name="Harrow Lane Grocery"),
        lines=[fee],
        billed_by=seller,
        key="full:fee",
    )


def _keep_a_stand_day(minder) -> None:
    """Open the stand, move cash, close it twice, and let a sale come in after the close."""
    place = Place.objects.get(code="stand")
    opened = stand_days.open_day(
        place=place, float_pieces={"note-500": 20}, opened_by=minder, key="full:stand-day"
    )
    for kind, more in (
        ("change", {}),
        ("spent", {"payee": "Corner Hardware", "category": "supplies", "text": "String"}),
        ("to_box", {}),
    ):
        stand_days.move_cash(
            stand_day=opened,
            kind=kind,
            cents=500,
            moved_by=minder,
            key=f"full:stand-{kind}",
            **more,
        )
    for number in (1, 2):
        closing = stand_days.close(
            stand_day=opened,
            counted_cents=20_000,
            note="Not all is known",
            closed_by=minder,
            key=f"full:stand-close-{number}",
        )
        if number == 1:
            stand_days.undo_close(
                stand_day_close=closing, undone_by=minder, reason="Counted in haste"
            )
    jar = LineWanted(
        kind=OrderLine.Kind.PACKED,
        product=Product.objects.get(code="1-lb"),
        quantity=1,
        unit_price=Decimal("9.5000"),
    )
    handed_in.hand_in(
        key="full:handed-in",
        body={"lines": [{"product": "gone", "pieces": 1, "unit_price": "9.5000"}]},
        text="1 × Gone: $9.50, Cash",
        handed_in_by=minder,
    )
    stand.sell(
        lines=[jar],
        place=place,
        payments=[stand.PaymentMade(Payment.Method.CASH)],
        marks=[MarkFound("price", "Sold at another price")],
        sold_by=minder,
        sold_at=timezone.now() - timedelta(hours=1),
        has_happened=True,
        key="full:stand-late",
    )


def _keep_the_money(clerk) -> None:
    """Begin with what was owed, write off, deposit, bounce a check, charge interest, count."""
    grocery = Customer.objects.get(name="Harrow Lane Grocery")
    began = timezone.localdate() - timedelta(days=120)
    first = {"begins_on": began, "recorded_by": clerk}
    opened = opening.owe(
        customer=grocery,
        number="1187",
        amount_cents=50_000,
        issued_on=began - timedelta(days=60),
        due_on=began - timedelta(days=30),
        key="full:opening-invoice",
        **first,
    )
    opening.credit(
        customer=grocery,
        amount_cents=1_000,
        reference="C-88",
        key="full:opening-credit",
        **first,
    )
    opening.amount(account="cash", amount_cents=20_000, key="full:opening-cash", **first)
    prices.set_tax_rate(
        name="State sales tax",
        goods="services",
        percent=Decimal("6.25"),
        valid_from=timezone.localdate(),
    )
    work = LineWanted(
        kind=OrderLine.Kind.SERVICE,
        quantity=100,
        unit_price=Decimal(40),
        service=Service.objects.get(code="work-by-the-hour"),
    )
    payer = Customer.objects.filter(certificates=None, is_active=True).order_by("pk")[0]
    taxed = service_bills.bill(customer=payer, lines=[work], billed_by=clerk, key="full:work")
    adjustments.adjust(
        invoice=taxed,
        kind="bad_debt",
        cents=1_000,
        lowers_tax=True,
        reason="Part of it is disputed",
        made_by=clerk,
        key="full:write-off",
    )
    interest.charge(
        customer=grocery, percent_a_year=Decimal(18), billed_by=clerk, key="full:interest"
    )
    checks = [
        payments.receive(
            customer=grocery,
            amount_cents=cents,
            method=Payment.Method.CHECK,
            reference=str(cents),
            allocations={opened: cents},
            received_by=clerk,
            key=f"full:check-{cents}",
        )
        for cents in (2_000, 3_000)
    ]
    deposit_slips.deposit(
        checks=checks,
        cash_cents=5_000,
        bank_account="Valley Bank",
        deposited_by=clerk,
        key="full:slip",
    )
    bounced_checks.record(
        payment=checks[0], bank_fee_cents=1_200, recorded_by=clerk, key="full:bounced"
    )
    moved = [
        money_moves.move(
            from_account=source,
            to_account=target,
            cents=cents,
            fee_cents=fee_cents,
            moved_by=clerk,
            key=f"full:move-{source}-{target}",
        )
        for source, target, cents, fee_cents in (
            ("transfer", "sales_tax", 4_000, 250),
            ("owner", "cash", 10_000, 0),
            ("cash", "transfer", 2_000, 0),
        )
    ]
    money_moves.undo(money_move=moved[-1], undone_by=clerk, reason="The bank was closed")
    there = deposit_slips.cash_there_cents()
    cash_counts.count(
        counted_cents=there - 50, note="Change", counted_by=clerk, key="full:cash-count"
    )


def _close_the_books(owner) -> None:
    """Close the books over days of which something comes late, and open the last of them again."""
    today = timezone.localdate()
    closing.close(until=today - timedelta(days=10), locked_by=owner, key="full:closed-books")
    books_lock.open_again(
        until=today - timedelta(days=20),
        locked_by=owner,
        key="full:opened-books",
        reason="A bill came late",
    )


def _come_late(person) -> None:
    """Enter what happened last month only now, once more than there was; correct a run."""
    old, new = (
        places.create(kind=Place.Kind.TOTE, code=f"tote-late-{number}", name=f"Late tote {number}")
        for number in (1, 2)
    )
    first = timezone.localdate() - timedelta(days=30)
    extraction = {"season": databases.MADE_AT.year, "recorded_by": person}
    for place, source in ((old, "Goldenrod"), (new, "Aster")):
        honey.receive(
            place=place,
            grams=50_000,
            floral_source=source,
            extracted_on=first,
            moisture_percent=Decimal("17.5"),
            key=f"full:late-{source}",
            **extraction,
        )
    honey.transfer(source=old, target=new, grams=20_000, recorded_by=person, key="full:blended")
    # The blend of today has less of the other honey since this is known.
    honey.write_off(
        place=new,
        grams=5_000,
        reason="spoilage",
        written_off_on=first + timedelta(days=5),
        recorded_by=person,
        key="full:late-spoiled",
    )
    # The tote had 50 kg then.
    honey.write_off(
        place=old,
        grams=60_000,
        reason="spoilage",
        written_off_on=first + timedelta(days=6),
        recorded_by=person,
        key="full:short",
    )
    run_corrections.correct(
        run=BottlingRun.objects.get(idempotency_key="full:plain-plan"),
        labour_minutes=35,
        reason="The washing up was left out",
        recorded_by=person,
        key="full:run-corrected",
    )
    delivered = PartReceipt.objects.order_by("id")[0]
    delivery_corrections.correct_parts(
        receipt=delivered,
        cost_cents=delivered.cost_cents + 100,
        reason="The freight was left out",
        recorded_by=person,
        key="full:parts-corrected",
    )


def _write_e_mails(person) -> None:
    """Send invoices and reminders, one of which came back; pauses, texts and a schedule."""
    invoice = Invoice.objects.filter(customer__isnull=False, credits=None, order__isnull=False)
    paper = mailable.by_name("invoice")
    sent = [
        emails.send(
            paper=paper,
            thing=each,
            to="ada@corner.example",
            subject=f"Invoice {each}",
            body="It is attached.",
            sent_by=person,
            key=f"house:email:{each}",
        )
        for each in list(filter(paper.is_for, invoice.order_by("pk")))[:2]
    ]
    for email in sent:
        delivery.deliver.call(email.pk)
    emails.note_bounce(
        email=sent[0], bounced_on=timezone.localdate(), note="No such mailbox", noted_by=person
    )
    emails.resend(
        email=sent[1],
        to="office@corner.example",
        subject="Once more",
        body="It is attached.",
        sent_by=person,
        key="house:email:again",
    )
    late = timezone.now() + timedelta(days=120)
    with time_machine.travel(late, tick=False):
        due = reminders.due(timezone.localdate(), sent_by=person)
        chosen = {row.customer.pk: row.digest for row in due if row.customer.email}
        reminders.send(chosen=chosen, sent_by=person, key="house:reminders")
    reminders.pause(
        customer=due[0].customer, reason="Pays by the month", placed_by=person, key="house:pause"
    )
    reminders.change_plan(first_days=10, second_days=20, third_days=30, minimum_cents=1000)
    email_texts.save(name="invoice", language="es", subject="Factura {number}", body="Gracias.")


def _buy(clerk) -> None:
    """Order parts that come in part, enter and pay their bill; spend, skip, undo."""
    today = timezone.localdate()
    glass = suppliers.add(name="Meadow Glass", terms_days=14, payment_details="Account 000 222")
    order = purchase_orders.place(
        supplier=glass,
        lines=[LineOrdered(PackagingPart.objects.order_by("pk")[0], 500, Decimal("0.42"))],
        freight_cents=1_500,
        ordered_by=clerk,
        key="full:purchase-order",
    )
    came = purchase_orders.receive(
        line=order.lines.get(),
        place=Place.objects.get(code="storeroom"),
        quantity=300,
        received_on=today,
        recorded_by=clerk,
        key="full:purchase-came",
    )
    bill = bills.enter(
        supplier=glass,
        number="MG-118",
        billed_on=today,
        lines=[
            LineBilled(13_900, came.part_receipt, takes_over_cost=True),
            LineBilled(2_000, category="repairs", season=today.year),
        ],
        tax_cents=400,
        discount_percent=Decimal(2),
        discount_until=today,
        entered_by=clerk,
        key="full:supplier-bill",
    )
    bills.pay(
        supplier=glass,
        shares=[BillPaid(bill, 9_800, 200)],
        paid_by="check",
        recorded_by=clerk,
        key="full:supplier-payment",
    )
    wrong = expenses.enter(
        payee="Ridge Fuel",
        category="fuel",
        amount_cents=6_120,
        paid_by="cash",
        season=today.year,
        entered_by=clerk,
        key="full:expense",
    )
    expenses.undo(expense=wrong, undone_by=clerk, key="full:expense-undone", reason="Twice")
    rent = expenses.add_recurring(
        payee="Ridge Hall",
        category="rent",
        amount_cents=30_000,
        paid_by="transfer",
        rhythm="month",
        next_on=today - timedelta(days=40),
        key="full:rent",
    )
    expenses.enter_next(
        recurring=rent, due_on=rent.next_on, entered_by=clerk, key="full:rent-entered"
    )
    rent.refresh_from_db()
    expenses.skip_next(
        recurring=rent, due_on=rent.next_on, skipped_by=clerk, key="full:rent-skipped"
    )


def _cost_late(person) -> None:
    """Sell of a blend without a cost, enter its cost late, cost it; undo, and cost it again."""
    blend = Balance.objects.filter(lot__kind=Lot.Kind.BLEND, lot__cost_cents=None, quantity__gt=0)
    weight_sales.sell(
        place=Place.objects.get(code="stand"),
        vessel=blend[0].place,
        unit_price=Decimal("5.50"),
        method="card",
        tendered_cents=None,
        net_grams=2_000,
        sold_by=person,
        key="full:sold-without-a-cost",
    )
    sold = late_costs_of_sales.sold_without_cost()
    # Of a blend, one lot after the other is told to be without a cost.
    while missing := [row.lot for row in late_cost_rows.rows(sold.lines) if row.is_entered]:
        costs.set_lot_cost(lot=missing[0], cost_cents=48_000)
        sold = late_costs_of_sales.sold_without_cost()
    made = late_costs.cost(recorded_by=person, key="full:late-costs")
    late_costs.undo(costing=made, recorded_by=person, key="full:late-costs-undone")
    late_costs.cost(recorded_by=person, key="full:late-costs-again")


def _trade_regularly(person) -> None:
    """Bring jars to a shop and invoice its report; a contract, a standing order, a round."""
    shop = Customer.objects.get(name="Wren Hollow Farm Shop")
    jars = Product.objects.get(code="1-lb")
    today = timezone.localdate()
    shelf = consignments.set_up(customer=shop, name="Wren Hollow shelf", key="full:shelf")
    consignments.agree_price(shelf=shelf, product=jars, unit_price=Decimal("6.10"))
    wanted = [PiecesWanted(jars, 3)]
    consignments.deliver_now(shelf=shelf, lines=wanted, delivered_by=person, key="full:consignment")
    consignment_reports.enter(
        shelf=shelf,
        lines=[PiecesWanted(jars, 1)],
        sold_from=today,
        sold_until=today,
        entered_by=person,
        key="full:report",
    )
    planned = consignments.plan(
        shelf=shelf, lines=wanted, created_by=person, key="full:consignment-planned"
    )
    packer = Customer.objects.get(name="Copperkettle Packing")
    contract = contracts.agree(
        customer=packer,
        max_grams=3_000_000,
        price_steps=[PriceStep(0, Decimal("2.85"))],
        starts_on=today,
        ends_on=today + timedelta(days=180),
        created_by=person,
        key="full:contract",
    )
    drum = Balance.objects.filter(
        place__kind=Place.Kind.DRUM, place__is_active=True, quantity__gt=0, reserved=0
    ).filter(lot__is_on_hold=False, lot__owner=None)[0]
    contracts.approve_sample(
        contract=contract,
        lot=drum.lot,
        approved_on=today,
        approved_by="Ida Roth",
        recorded_by=person,
        key="full:sample",
    )
    call_off = contracts.call_off(
        contract=contract,
        drums=[drum.place],
        created_by=person,
        moisture_is_right=True,
        over_limit=True,
        key="full:call-off",
    )
    standing = standing_orders.set_up(
        customer=shop,
        channel="shop",
        rhythm="weekly",
        lines=[PiecesWanted(jars, 1)],
        starts_on=today,
        created_by=person,
        key="full:standing",
    )
    standing_orders.leave_out(
        standing=standing, due_on=today, decided_by=person, key="full:left-out"
    )
    rounds.plan(
        day=today,
        vehicle="Blue van",
        stops=[call_off.order, planned],
        created_by=person,
        key="full:round",
    )


def _use_the_back_office(owner, clerk) -> None:
    """Leave a trace in the admin, a permission of one person's own, and a token for the API."""
    LogEntry.objects.create(
        user=owner,
        content_type=ContentType.objects.get_for_model(House),
        object_id="1",
        object_repr=House.current().name,
        action_flag=CHANGE,
        change_message="[]",
    )
    clerk.user_permissions.add(Permission.objects.get(codename="change_house"))
    tokens.make(person=owner, name="Web shop", scopes="read", days=90)
    pins.set_pin(person=clerk, pin="4831", set_by=owner)
    with suppress(BadValue):
        pins.check_pin(person=clerk, pin="4832", asked_by=owner)
    _sign_in_by_two_steps(clerk)
    _sign_in_and_mistype(clerk)
    former = customers.add(name="Ursel Vane", phone="555 0199")
    personal_data.erase(customer=former, asked="by telephone", erased_by=owner, key="full:erasure")
    _note_a_backup()
    _note_what_machines_share()
    _keep_averages()
    account_months.renew()
    _tell_a_program(owner)
    set_up.save_step("house", key="full-house")
    set_up.leave_step("tax")
    KeptAnswer.objects.create(
        person=owner,
        key="full:answer",
        method="POST",
        address="/api/v1/transfers/",
        body_sha256="0" * 64,
        status=201,
        headers={"Content-Type": "application/json"},
        body="{}",
    )
    sent_forms.keep(
        person=owner, key="full:form", address="/honey/transfer/", next_url="/places/tank-1/"
    )
    work = long_work.begin(kind="report", title="Sales of all years", started_by=owner)
    long_work.ask_to_stop(work)


def _tell_a_program(owner: User) -> None:
    """A program that is told of customers, and one message that waits for it."""
    endpoints.add(
        name="Web shop",
        url="https://shop.example/honey-house",
        kinds=["customer.changed"],
        is_in_own_network=False,
        made_by=owner,
    )
    customers.add(name="Alder Bakery")


def _sign_in_by_two_steps(clerk: User) -> None:
    """Codes of an app with the key of RFC 6238, recovery codes and a passkey that nobody has."""
    key = b"12345678901234567890"
    second_steps.require(required_for=SecondStepRule.For.NOBODY)
    second_steps.set_up(person=clerk, key=key, code=f"{totp(key):06}")
    Passkey.objects.create(
        person=clerk,
        name="Office computer",
        credential="AAECAwQFBgcICQoLDA0ODw",
        public_key=bytes(77),
        added_at=timezone.now(),
    )


def _sign_in_and_mistype(clerk: User) -> None:
    """One who signed in; and what axes counts, with the tables of its own that we leave empty."""
    asked = HttpRequest()
    asked.META = {"REMOTE_ADDR": "203.0.113.7", "HTTP_USER_AGENT": "honey-scale/2.1"}
    sign_ins.record(asked, clerk, SignIn.Outcome.IN)
    who = {"username": "0" * 32, "ip_address": "203.0.113.7", "user_agent": "honey-scale/2.1"}
    attempt = AccessAttempt.objects.create(**who, failures_since_start=1)
    AccessAttemptExpiration.objects.create(access_attempt=attempt, expires_at=timezone.now())
    AccessFailureLog.objects.create(**who)
    AccessLog.objects.create(**who)


def _bring_in_lists(owner: User) -> None:
    """One list counts, with past sales; another was checked, and waits with its rows."""
    jar = Product.objects.for_sale().of_honey().first()
    lists = {
        ImportKind.PAST_SALES: f"Day,Product,Pieces,Amount\n2019-07-06,{jar.code},24,228.00\n",
        ImportKind.CUSTOMERS: "Name,Price list\nLaurel Bakery,shop\nOlive Deli,nonsense\n",
    }
    for kind, text in lists.items():
        begun = uploads.upload(
            kind=kind,
            file=SimpleUploadedFile(f"{kind}.csv", text.encode()),
            decimal_sign=".",
            day_order="mdy",
            uploaded_by=owner,
            key=f"full:{kind}",
        )
        begun = checking.check(begun=begun, checked_by=owner)
        if kind == ImportKind.PAST_SALES:
            bringing_in.bring_in(begun=begun, brought_in_by=owner)


def _note_a_backup() -> None:
    """Leave a backup as the night's work notes it; its file is not in a dump of the database."""
    begun = backups.claim(night=timezone.localdate())
    Backup.objects.filter(pk=begun.pk).update(
        finished_at=timezone.now(),
        ok=True,
        file="/srv/honey/backups/honey-20261125T073000Z.tar.gz",
        size_bytes=1_000_000,
        sha256="0" * 64,
        rehearsed_at=timezone.now(),
        rehearsal_ok=True,
    )


def _note_what_machines_share() -> None:
    """Leave what the service notes when it serves; the key of no machine has this hash."""
    SharedKeyAndFiles.objects.create(pk=1, hashed_key="!", files_mark="0" * 64)


def _keep_averages() -> None:
    """Keep the average of each product and part at each posting, as a house does at some."""
    with mock.patch.multiple(AverageClosing, CHANGES_MAX=1, PART_CHANGES_MAX=1):
        average_closings.close(Product.objects.order_by("pk").values_list("item", flat=True))
        part_closings.close(PackagingPart.objects.order_by("pk").values_list("item", flat=True))


def _name_an_account() -> None:
    ledger_accounts.change(
        account=chart_of_accounts.chart()["sales"], number="4010", name="Sales of honey"
    )


def _take_out_what_differs_each_time() -> None:
    # A hash is salted anew each time, and nobody signs in with it here.
    User.objects.update(password="!")
    SellerPin.objects.update(hashed="!")
    # A file is kept under a random name.
    for attachment in Attachment.objects.order_by("pk"):
        attachment.file.name = f"{attachment.pk:032x}"
        attachment.save(update_fields=["file"])
    # An e-mail and a task have an identifier of their own.
    for email in Email.objects.order_by("pk"):
        email.message_id = f"<{email.pk}@house.example>"
        email.save(update_fields=["message_id"])
    for number, task in enumerate(DBTaskResult.objects.order_by("enqueued_at", "args_kwargs")):
        DBTaskResult.objects.filter(pk=task.pk).update(id=UUID(int=number + 1))
    # The trail of changes writes the fields of a row in the order of a set.
    for entry in TrailEntry.objects.all():
        entry.changes = dict(sorted(entry.changes.items()))
        entry.save(update_fields=["changes"])


def _check_the_bills() -> None:
    with transaction.atomic():
        found = list(bill_data.faults())
        transaction.set_rollback(True)
    if found:
        raise SystemExit("\n".join(found))


def _check_that_every_table_has_rows() -> None:
    """Raise SystemExit for models without a row: the upgrade would not try their columns."""
    empty = [
        model._meta.label
        for model in apps.get_models(include_auto_created=True)
        if model._meta.label != "accounts.HouseSession" and not model._default_manager.exists()
    ]
    if empty:
        raise SystemExit(f"Add a row to tests/upgrade/full_house.py for: {', '.join(empty)}")
