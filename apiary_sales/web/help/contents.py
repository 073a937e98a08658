"""Which help pages there are, in the order in which they are shown, and where each is needed.

The text of a page is in `templates/help/LANGUAGE/SLUG.html`; `book.py` reads it.
"""

from dataclasses import dataclass

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

MOVE = "inventory.move_honey"
RUN = "inventory.run_bottling"
PARTS = "inventory.manage_parts"
COUNT = "inventory.enter_counts"
UNDO = "inventory.reverse_posting"
GOODS = "inventory.manage_goods"
PLACES = "inventory.manage_places"
TAKE_ORDERS = "orders.take_orders"
QUOTE = "orders.quote_drums"
FULFIL = "orders.fulfil_orders"
SELL = "orders.sell_at_stand"
PRICES = "pricing.manage_prices"
INVOICE = "billing.issue_invoices"
PAYMENTS = "billing.take_payments"
MONEY = "billing.view_money"
PURCHASES = "billing.manage_purchases"
ACCOUNTS = "billing.manage_accounts"
PEOPLE = "accounts.manage_people"


class HelpSection(TextChoices):
    HONEY = "honey", _("Honey")
    BOTTLING = "bottling", _("Bottling")
    STOCK = "stock", _("Stock and mistakes")
    SELLING = "selling", _("Selling")
    STAND = "stand", _("The stand")
    MONEY = "money", _("Money")
    HOUSE = "house", _("The house")
    NUMBERS = "numbers", _("How each number is made")


@dataclass(frozen=True)
class HelpTopic:
    """A help page: what it is called in addresses, and for which pages it is shown.

    A person who has one of the `permissions` does this work; nobody is kept from reading it. The
    house's own figures of a worked example are shown to who has one of `figures_for`, or of them.
    `url_names` are pages that show a link to it; `opens` is the one that it leads to.
    """

    slug: str
    section: HelpSection
    permissions: tuple[str, ...] = ()
    url_names: tuple[str, ...] = ()
    opens: str = ""
    figures_for: tuple[str, ...] = ()

    @property
    def is_number(self) -> bool:
        return self.section == HelpSection.NUMBERS

    @property
    def shown_on(self) -> tuple[str, ...]:
        return (*self.url_names, self.opens) if self.opens else self.url_names


S = HelpSection
TOPICS = (
    HelpTopic(
        "receive-honey",
        S.HONEY,
        (MOVE,),
        (
            "inventory:measurement_remove",
            "inventory:measure_again",
            "inventory:honey",
            "inventory:honey_receipt_correct",
            "inventory:measurement_add",
        ),
        "inventory:receive",
    ),
    HelpTopic(
        "bought-and-others-honey",
        S.HONEY,
        (MOVE,),
        (
            "inventory:supplier_add",
            "inventory:supplier_edit",
            "inventory:others",
            "inventory:others_receive",
            "inventory:others_hand_back",
            "inventory:others_hand_back_jars",
            "inventory:others_buy",
            "inventory:owner_statement",
            "inventory:supplier_list",
            "inventory:supplier_detail",
        ),
        "inventory:purchase",
    ),
    HelpTopic(
        "dip-a-tank",
        S.HONEY,
        (MOVE,),
        (
            "inventory:dip_list",
            "inventory:dip_detail",
            "inventory:dip_accept",
            "inventory:dip_chart",
        ),
        "inventory:dip",
    ),
    HelpTopic(
        "fill-drums",
        S.HONEY,
        (MOVE,),
        ("inventory:drums_create", "inventory:weigh_again", "inventory:drum_labels"),
        "inventory:drum_fill",
    ),
    HelpTopic(
        "blend",
        S.HONEY,
        (MOVE,),
        (
            "inventory:blend_plan_drop",
            "inventory:transfer",
            "inventory:blend",
            "inventory:blend_plan_list",
            "inventory:blend_plan",
            "inventory:blend_plan_change",
            "inventory:blend_plan_carry_out",
            "inventory:drain",
            "inventory:name_blend",
        ),
        "blending:planner",
    ),
    HelpTopic(
        "warming-and-cleaning",
        S.HONEY,
        (MOVE, "inventory.record_cleaning"),
        (
            "inventory:warming_remove",
            "inventory:cleaning_remove",
            "inventory:warming_add",
            "inventory:cleaning",
            "inventory:cleaning_record",
            "inventory:cleaning_log",
            "inventory:cleaning_task_add",
            "inventory:cleaning_task_edit",
        ),
        "inventory:warming_list",
    ),
    HelpTopic(
        "bottling-day",
        S.BOTTLING,
        (RUN,),
        (
            "inventory:run_cancel",
            "inventory:bottling_day_drop",
            "inventory:run_plan",
            "inventory:run_detail",
            "inventory:run_record",
            "inventory:run_correct",
            "inventory:bottling_day_create",
            "inventory:bottling_day",
            "inventory:bottling_day_edit",
            "inventory:bottling_day_list",
            "inventory:run_settle",
        ),
        "inventory:bottling",
    ),
    HelpTopic(
        "comb-and-creamed",
        S.BOTTLING,
        (RUN,),
        (
            "inventory:comb_cut",
            "inventory:lot_ready",
        ),
        "inventory:comb_receive",
    ),
    HelpTopic("fill-check", S.BOTTLING, (RUN,), ("inventory:fill_check", "inventory:fill_chart")),
    HelpTopic(
        "parts",
        S.BOTTLING,
        (PARTS,),
        (
            "inventory:part_create",
            "inventory:part_receive",
            "inventory:part_detail",
            "inventory:part_edit",
            "inventory:part_receipt_correct",
        ),
        "inventory:part_list",
    ),
    HelpTopic(
        "labels",
        S.BOTTLING,
        (RUN, PARTS),
        (
            "inventory:run_labels",
            "inventory:label_sheet_create",
            "inventory:label_sheet_edit",
            "inventory:jars_label",
            "inventory:jar_page_settings",
        ),
        "inventory:label_sheet_list",
    ),
    HelpTopic(
        "sizes-and-products",
        S.BOTTLING,
        (PARTS,),
        (
            "inventory:size_add_usual",
            "inventory:size_switch",
            "inventory:product_switch",
            "inventory:variety_create",
            "inventory:variety_edit",
            "inventory:brand_create",
            "inventory:brand_edit",
            "inventory:size_list",
            "inventory:size_create",
            "inventory:size_edit",
            "inventory:product_create",
            "inventory:product_edit",
            "inventory:variety_list",
            "inventory:brand_list",
        ),
        "inventory:product_list",
    ),
    HelpTopic(
        "other-goods",
        S.BOTTLING,
        (GOODS,),
        (
            "inventory:goods_receipt_correct",
            "inventory:goods_edit",
            "inventory:goods_create",
            "inventory:goods_receive",
            "inventory:goods_make",
            "inventory:goods_detail",
            "inventory:boxes_make",
            "inventory:box_create",
        ),
        "inventory:goods_list",
    ),
    HelpTopic(
        "jars-that-change",
        S.BOTTLING,
        (RUN,),
        (
            "inventory:lot_jars",
            "inventory:jars_empty",
            "inventory:jars_set_aside",
            "inventory:jars_returned",
            "inventory:boxes_apart",
            "inventory:box_edit",
            "inventory:box_switch",
        ),
        "inventory:jar_list",
    ),
    HelpTopic(
        "move-and-write-off",
        S.STOCK,
        ("inventory.write_off",),
        (
            "inventory:write_off",
            "inventory:stock_write_off",
        ),
        "inventory:stock_transfer",
    ),
    HelpTopic(
        "counts",
        S.STOCK,
        (COUNT,),
        (
            "inventory:count_sheet_seals",
            "inventory:count_sheet_places",
            "inventory:count_sheet_cancel",
            "inventory:count_sheet",
            "inventory:count_sheet_open",
            "inventory:count_sheet_place",
            "inventory:count_sheet_close",
            "inventory:stock_count",
            "inventory:count_now",
            "inventory:stock_list",
        ),
        "inventory:count_sheets",
    ),
    HelpTopic(
        "late-and-wrong-entries",
        S.STOCK,
        (UNDO,),
        (
            "inventory:posting_detail",
            "inventory:posting_reverse",
            "inventory:shortage_list",
            "inventory:shortage_settle",
            "inventory:shortage_lot",
        ),
        "inventory:posting_list",
    ),
    HelpTopic(
        "hold-and-recall",
        S.STOCK,
        (FULFIL, MONEY),
        (
            "recall:answer",
            "recall:start",
            "recall:hold",
            "recall:release",
            "recall:record",
            "recall:finish",
            "inventory:lot_release",
        ),
        "recall:home",
    ),
    HelpTopic(
        "trace",
        S.STOCK,
        (),
        (
            "orders:lot_buyers",
            "inventory:honey_flow_entries",
            "inventory:lot_detail",
            "inventory:lot_origin",
            "inventory:honey_flow",
        ),
        "inventory:lot_list",
    ),
    HelpTopic(
        "set-prices",
        S.SELLING,
        (PRICES,),
        (
            "pricing:private_label_set",
            "pricing:product_tax",
            "pricing:bulk_price_set",
            "pricing:weight_price_set",
            "pricing:service_add",
            "pricing:services_usual",
            "pricing:service_change",
            "pricing:tax_category_set",
            "pricing:tax_rate_set",
            "pricing:product_prices",
            "pricing:price_set",
            "pricing:break_set",
            "pricing:price_change",
            "pricing:bulk_prices",
            "pricing:weight_prices",
            "pricing:services",
            "pricing:tax_rates",
            "pricing:private_labels",
        ),
        "pricing:prices",
    ),
    HelpTopic(
        "quote-drums",
        S.SELLING,
        (QUOTE,),
        ("orders:quote_decline", "orders:quote_withdraw", "orders:quote_accept"),
        "orders:quote_create",
    ),
    HelpTopic(
        "take-an-order",
        S.SELLING,
        (TAKE_ORDERS,),
        (
            "orders:order_reserve_missing",
            "orders:order_change",
            "orders:order_cancel",
            "orders:order_substitute",
            "orders:jar_quote_create",
        ),
        "orders:order_create",
    ),
    HelpTopic(
        "pick-and-hand-over",
        S.SELLING,
        (FULFIL,),
        (
            "orders:drums_back",
            "orders:delivery_paper",
            "orders:order_detail",
            "orders:order_fulfil",
            "orders:pick_list",
            "orders:order_repick",
            "orders:order_take_back",
            "orders:delivery",
        ),
        "orders:selling",
    ),
    HelpTopic(
        "regular-trade",
        S.SELLING,
        (TAKE_ORDERS,),
        (
            "orders:consignment_list",
            "orders:consignment_deliveries",
            "orders:consignment_create",
            "orders:consignment_delivery",
            "orders:consignment_delivery_deliver",
            "orders:consignment_shelf",
            "orders:consignment_price",
            "orders:consignment_deliver",
            "orders:consignment_bring_back",
            "orders:contract_list",
            "orders:contract",
            "orders:contract_create",
            "orders:contract_end",
            "orders:contract_sample",
            "orders:contract_call_off",
            "orders:standing_list",
            "orders:standing",
            "orders:standing_create",
            "orders:standing_confirm",
            "orders:standing_change",
            "orders:standing_pause",
            "orders:standing_leave_out",
            "orders:round_list",
            "orders:round",
            "orders:round_create",
            "orders:round_change",
            "orders:round_stop_deliver",
            "billing:consignment_report",
        ),
        "orders:trade",
    ),
    HelpTopic(
        "drums-out",
        S.SELLING,
        (FULFIL,),
        (
            "billing:drums_return",
            "billing:deposit_refund",
            "billing:drum_lost",
            "billing:deposit_keep",
            "billing:deposit_keep_undo",
            "billing:deposit_credit",
            "billing:drum_history",
        ),
        "billing:drum_register",
    ),
    HelpTopic(
        "customers",
        S.SELLING,
        ("customers.manage_customers",),
        (
            "customers:certificate",
            "customers:certificate_end",
            "customers:certificate_accept",
            "customers:address_create",
            "customers:address_remove",
            "customers:create",
            "customers:detail",
            "customers:edit",
            "customers:certificates",
            "customers:personal_data",
            "customers:personal_erase",
        ),
        "customers:list",
    ),
    HelpTopic(
        "stand-sale",
        S.STAND,
        (SELL,),
        ("billing:receipt_list", "billing:receipt", "billing:stand_marks"),
        "billing:stand",
    ),
    HelpTopic("weigh-out", S.STAND, (SELL,), (), "billing:stand_weight"),
    HelpTopic(
        "stand-without-signal",
        S.STAND,
        (SELL,),
        (
            "billing:handed_in_book",
            "billing:handed_in_set_aside",
            "billing:handed_in_sales",
        ),
    ),
    HelpTopic(
        "close-of-day",
        S.STAND,
        (SELL,),
        (
            "billing:stand_day_open_again",
            "billing:stand_cash_undo",
            "billing:stand_day_open",
            "billing:stand_day",
            "billing:stand_day_cash",
            "billing:stand_day_close",
            "billing:stand_takings",
        ),
        "billing:stand_days",
    ),
    HelpTopic(
        "market-day",
        S.STAND,
        (SELL,),
        (
            "billing:market_day_change",
            "billing:market_day_list_goods",
            "billing:market_day_load_undo",
            "billing:market_day_unload_undo",
            "billing:market_day_cost",
            "billing:market_day_cancel",
            "billing:market_day_create",
            "billing:market_day",
            "billing:market_day_load",
            "billing:market_day_unload",
            "billing:market_day_close",
        ),
        "billing:market_days",
    ),
    HelpTopic(
        "honesty-box",
        S.STAND,
        (SELL, COUNT),
        (
            "billing:honesty_box_put_away",
            "billing:honesty_count_undo",
            "billing:honesty_box_create",
            "billing:honesty_box",
            "billing:honesty_box_count",
        ),
        "billing:honesty_boxes",
    ),
    HelpTopic(
        "pick-ups",
        S.STAND,
        (SELL,),
        (
            "billing:stand_pickup_done",
            "billing:stand_pickup",
        ),
        "billing:stand_pickups",
    ),
    HelpTopic(
        "invoice",
        S.MONEY,
        (INVOICE,),
        (
            "billing:invoice_list",
            "billing:invoice_detail",
            "billing:service_bill",
        ),
        "billing:invoice_create",
    ),
    HelpTopic(
        "payments-and-deposits",
        S.MONEY,
        (PAYMENTS,),
        (
            "billing:use_on_account",
            "billing:customer_account",
            "billing:interest",
            "billing:good",
            "billing:free_prepayment",
            "billing:order_money",
            "billing:adjustments",
            "billing:adjustment",
            "billing:deposit_slip",
            "billing:deposit_slip_undo",
            "billing:money",
            "billing:payment_list",
            "billing:payment_detail",
            "billing:payment_undo",
            "billing:bounce",
            "billing:statement",
            "billing:deposit_slips",
            "billing:deposit_slip_create",
        ),
        "billing:payment_create",
    ),
    HelpTopic(
        "e-mails",
        S.MONEY,
        (INVOICE,),
        (
            "mailing:email",
            "mailing:send",
            "mailing:bounce",
            "mailing:text_list",
            "mailing:text",
            "mailing:text_usual",
            "mailing:reminders",
            "mailing:reminder_plan",
            "mailing:pause",
        ),
        "mailing:email_list",
    ),
    HelpTopic(
        "credit-and-returns",
        S.MONEY,
        (INVOICE,),
        (
            "billing:return_request",
            "billing:return_decide",
            "billing:receipt_undo",
            "billing:receipt_return",
            "billing:return_requests",
            "billing:return_no_receipt",
            "billing:invoice_credit",
            "billing:invoice_correct",
            "billing:goods_back",
            "billing:refund",
            "billing:adjust",
            "billing:pay_back",
        ),
    ),
    HelpTopic(
        "expenses-and-bills",
        S.MONEY,
        (PURCHASES,),
        (
            "billing:expense_undo",
            "billing:bill_undo",
            "billing:supplier_pay",
            "billing:supplier_account",
            "billing:supplier_payment_list",
            "billing:supplier_payment",
            "billing:supplier_payment_undo",
            "billing:purchase_order_create",
            "billing:purchase_order_change",
            "billing:purchase_order_close",
            "billing:purchase_order_receive",
            "billing:purchase_order_link",
            "billing:recurring_create",
            "billing:recurring_change",
            "billing:recurring_enter",
            "billing:recurring_skip",
            "billing:expense_create",
            "billing:expense",
            "billing:bill_list",
            "billing:bill_create",
            "billing:bill",
            "billing:purchase_order_list",
            "billing:purchase_order",
            "billing:supplier_balances",
            "billing:recurring_list",
        ),
        "billing:expense_list",
    ),
    HelpTopic(
        "month-close",
        S.MONEY,
        (ACCOUNTS,),
        (
            "billing:open_again",
            "billing:tax_documents",
            "billing:exempt_sales",
            "billing:late_certificate",
            "billing:late_certificate_accept",
            "billing:cash_count_undo",
            "billing:money_move",
            "billing:money_move_undo",
            "billing:tax_return",
            "billing:accounts",
            "billing:account",
            "billing:cash_book",
            "billing:cash_counts",
            "billing:cash_count_create",
            "billing:money_moves",
            "billing:money_move_create",
        ),
        "billing:closing",
    ),
    HelpTopic("plan", S.HOUSE, (PRICES,), (), "planning:plan"),
    HelpTopic(
        "drum-or-jar", S.HOUSE, (PRICES,), ("pricing:product_margin",), "pricing:drum_or_jar"
    ),
    HelpTopic("reports", S.HOUSE, (MONEY,), ("reports:report",), "reports:reports"),
    HelpTopic(
        "first-hour",
        S.HOUSE,
        (PEOPLE,),
        (
            "web:set_up", "web:set_up_made", "web:set_up_house", "web:set_up_market", "web:set_up_tax", "web:set_up_tanks", "web:set_up_drums", "web:set_up_sizes", "web:set_up_parts", "web:set_up_prices", "web:set_up_people", "web:set_up_costs", "web:set_up_honey", "web:set_up_jars", "web:set_up_stock", "web:set_up_customers", "web:set_up_numbers", "inventory:place_detail",
            "billing:opening_take_back",
            "billing:opening_amount_undo",
            "billing:logo",
            "inventory:place_use",
            "billing:opening_invoice",
            "billing:opening_credit",
            "billing:opening_amount",
            "billing:first_number",
            "inventory:opening_jars",
            "inventory:place_create",
            "inventory:places",
            "inventory:place_edit",
            "billing:settings",
            "inventory:production_settings",
        ),
        "billing:opening",
    ),
    HelpTopic(
        "people-and-roles",
        S.HOUSE,
        (PEOPLE,),
        (
            "accounts:password",
            "accounts:person_pin",
            "accounts:change_role",
            "accounts:reset_password",
            "accounts:switch_off",
            "accounts:switch_on",
            "accounts:add_person",
            "accounts:person",
            "accounts:account",
            "accounts:pin",
        ),
        "accounts:people",
    ),
    HelpTopic(
        "import",
        S.HOUSE,
        (PEOPLE,),
        (
            "imports:upload",
            "imports:detail",
            "imports:columns",
            "imports:bring_in",
            "imports:undo",
        ),
        "imports:home",
    ),
    HelpTopic("export", S.HOUSE, (PEOPLE,), (), "keeping:export"),
    HelpTopic("backup-and-restore", S.HOUSE, (PEOPLE,), ("keeping:system",), "keeping:backups"),
    HelpTopic("metric-house", S.HOUSE, (PEOPLE,)),
    HelpTopic("find", S.HOUSE, opens="finding:find"),
    HelpTopic("safety", S.HOUSE),
    HelpTopic("words", S.HOUSE),
    HelpTopic("weight-from-a-dip", S.NUMBERS, (MOVE,)),
    HelpTopic("honey-density", S.NUMBERS, (MOVE,)),
    HelpTopic("moisture-of-a-blend", S.NUMBERS, (MOVE,)),
    HelpTopic("colour-of-a-blend", S.NUMBERS, (MOVE,)),
    HelpTopic(
        "cost-of-honey",
        S.NUMBERS,
        (PRICES,),
        (
            "pricing:expense_add",
            "pricing:expense_remove",
            "pricing:season",
            "pricing:season_spread",
            "pricing:lot_cost",
        ),
        "pricing:honey_cost",
    ),
    HelpTopic(
        "cost-of-a-jar",
        S.NUMBERS,
        (PRICES,),
        ("pricing:filling_times", "pricing:channel_cost_set"),
        "pricing:selling_costs",
    ),
    HelpTopic("net-back", S.NUMBERS, (PRICES,)),
    HelpTopic("margin", S.NUMBERS, (MONEY,)),
    HelpTopic("yield-of-a-run", S.NUMBERS, (RUN,)),
    HelpTopic("fill-check-limits", S.NUMBERS, (RUN,)),
    HelpTopic(
        "free-stock", S.NUMBERS, (TAKE_ORDERS, RUN), ("orders:stock_detail",), "orders:stock"
    ),
    HelpTopic("what-is-owed", S.NUMBERS, (MONEY,), (), "billing:owed_on"),
    HelpTopic("tax-of-an-invoice", S.NUMBERS, (INVOICE, MONEY)),
    HelpTopic("deposit-on-drums", S.NUMBERS, (MONEY,)),
    HelpTopic("cash-of-a-stand-day", S.NUMBERS, (SELL,), figures_for=(MONEY,)),
    HelpTopic("forecast", S.NUMBERS, (PRICES,)),
)
BY_SLUG = {topic.slug: topic for topic in TOPICS}
# The help of each page, by the name of its address.
OF_PAGE = {url_name: topic.slug for topic in TOPICS for url_name in topic.shown_on}
