"""What a filled jar costs, and what a pound of honey brings back in jars and in drums.

*Net back a pound* is what is left of the price of a jar (before sales tax) when everything but
the honey is paid: discount, card fee, cost of the channel, parts, broken pieces and labour; over
the pounds drawn from the tank for it, which are the label weight, the overfill, the filling loss
and the honey of broken pieces. So it compares with the price of a pound in a drum: the same pound
of honey goes one way or the other. Definitions are ours; the arithmetic is common practice.

Every figure is the sum of lines of four decimals, and a line that is not known is None and makes
what is worked out of it None: "not entered", never zero.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction
from typing import cast

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.pricing.rules.prices import PriceList
from inventory.bottling.models import Product, UsedPart
from inventory.shared import words
from inventory.shared.money import FOUR_PLACES, cents_half_up
from inventory.shared.weights import unit_grams, unit_name
from inventory.stock.models import Lot

Channel = ChannelCost.Channel
TIER_OF_CHANNEL = {
    Channel.STAND: Customer.Tier.STAND,
    Channel.SHOP: Customer.Tier.SHOP,
    Channel.DELIVERY: Customer.Tier.SHOP,
    Channel.DISTRIBUTOR: Customer.Tier.DISTRIBUTOR,
}


@dataclass(frozen=True)
class CostLine:
    """One line of a cost or margin for one piece; `each` is None while it is not entered."""

    kind: str
    label: str
    how: str
    each: Decimal | None


@dataclass(frozen=True)
class Fill:
    """What one sellable piece takes: grams from the tank and minutes of work."""

    runs: int
    net_grams: Decimal
    loss_grams: Decimal
    broken_share: Decimal
    minutes: Decimal | None
    declared_grams: Decimal

    @property
    def over_grams(self) -> Decimal:
        return self.net_grams - self.declared_grams

    @property
    def broken_grams(self) -> Decimal:
        return self.broken_share * self.declared_grams

    @property
    def drawn_grams(self) -> Decimal:
        return self.net_grams + self.loss_grams + self.broken_grams

    @property
    def drawn_pounds(self) -> Decimal:
        return self.drawn_grams / unit_grams()


@dataclass(frozen=True)
class FilledCost:
    """The cost of one filled piece, line by line."""

    product: Product
    fill: Fill
    lines: tuple[CostLine, ...]

    @property
    def total(self) -> Decimal | None:
        return _total(self.lines)

    @property
    def missing(self) -> list[str]:
        return [line.label for line in self.lines if line.each is None]

    def of(self, *kinds: str) -> Decimal | None:
        """Return the sum of the lines of these kinds, or None while one is not entered."""
        return _total([line for line in self.lines if line.kind in kinds])


@dataclass(frozen=True)
class JarNetBack:
    """What one product brings back a pound in one channel, line by line."""

    product: Product
    channel: str
    price: Decimal
    fill: Fill
    lines: tuple[CostLine, ...]
    # The share of the price that stays after discount, card fee and the tax that is in it.
    kept_share: Decimal

    @property
    def channel_label(self) -> str:
        return str(Channel(self.channel).label)

    @property
    def left(self) -> Decimal | None:
        """What one piece leaves to pay for its honey."""
        return _total(self.lines)

    @property
    def per_pound(self) -> Decimal | None:
        """What a pound drawn from the tank brings back, to four places."""
        if self.left is None:
            return None
        return _four_places(self.left / self.fill.drawn_pounds)

    @property
    def per_pound_cents(self) -> int | None:
        return None if self.per_pound is None else cents_half_up(self.per_pound)

    @property
    def missing(self) -> list[str]:
        return [line.label for line in self.lines if line.each is None]

    def break_even_price(self, drum_per_pound: Decimal | None) -> Decimal | None:
        """Return the least price of a piece, in whole cents, that still beats the drum.

        `drum_per_pound` is what a pound in the drum brings back. None while a cost is not entered.
        """
        if drum_per_pound is None or not self.kept_share:
            return None
        other = _total(
            [line for line in self.lines if line.kind not in ("price", "discount", "card", "tax")]
        )
        if other is None:
            return None
        exact = (drum_per_pound * self.fill.drawn_pounds - other) / self.kept_share
        return _up_to_a_cent(exact)


@dataclass(frozen=True)
class DrumNetBack:
    """What a pound in a drum brings back: its price less what selling in drums takes."""

    price: Decimal
    lines: tuple[CostLine, ...]
    kept_share: Decimal
    cost_per_pound: Decimal

    @property
    def per_pound(self) -> Decimal:
        # Each of its lines has a figure.
        return sum((cast(Decimal, line.each) for line in self.lines), Decimal(0))

    @property
    def per_pound_cents(self) -> int:
        return cents_half_up(self.per_pound)

    def price_that_brings(self, per_pound: Decimal) -> Decimal | None:
        """Return the drum price a pound that brings back `per_pound`, rounded up to a cent."""
        if not self.kept_share:
            return None
        exact = (per_pound + self.cost_per_pound) / self.kept_share
        return _up_to_a_cent(exact)


@dataclass(frozen=True)
class HoneyCost:
    """Cost of a gram of honey in cents; None while it is not entered."""

    cents_per_gram: Fraction | None

    @property
    def per_pound(self) -> Decimal | None:
        if self.cents_per_gram is None:
            return None
        return _money(self.cents_per_gram * Fraction(unit_grams()))


@dataclass(frozen=True)
class WhatIf:
    """Figures to try in place of those that are kept; None keeps what is there."""

    labour_cents_per_hour: int | None = None
    overfill_percent: Decimal | None = None
    jar_percent: Decimal = Decimal(0)
    piece_cents: Mapping[tuple[int, str], int] = field(default_factory=dict)


@dataclass(frozen=True)
class Book:
    """All that costs and margins are worked out of for one day."""

    on: date
    products: tuple[Product, ...]
    parts: Mapping[int, tuple[UsedPart, ...]]
    part_costs: Mapping[int, Fraction]
    runs: Mapping[int, Mapping[str, int]]
    minutes: Mapping[int, Decimal]
    labour_cents_per_hour: int
    channels: Mapping[str, ChannelCost]
    price_lists: Mapping[str, PriceList]
    what_if: WhatIf = field(default_factory=WhatIf)
    # Percent of tax that is in the prices: by product, and of honey by weight.
    tax_percents: Mapping[int, Decimal] = field(default_factory=dict)
    bulk_tax_percent: Decimal = Decimal(0)
    # The day of the quote of each part whose cost is one; the others cost what was paid last.
    quoted_on: Mapping[int, date] = field(default_factory=dict)

    def supposing(self, what_if: WhatIf) -> "Book":
        """Return the same book with some figures tried out."""
        rate = what_if.labour_cents_per_hour
        return replace(
            self,
            what_if=what_if,
            labour_cents_per_hour=self.labour_cents_per_hour if rate is None else rate,
        )

    def fillable_with(self, lot: Lot) -> "Book":
        """Return the same book with only the products that a lot's honey may be sold as."""
        covered = tuple(
            product
            for product in self.products
            if product.variety is None or product.variety.covers(lot.floral_source)
        )
        return replace(self, products=covered)

    def filled_cost(self, product: Product, honey: HoneyCost) -> FilledCost:
        """Return the cost of one filled piece with honey at this cost."""
        fill = self.fill(product)
        return FilledCost(
            product,
            fill,
            (*self._honey_lines(fill, honey), *self._packing_lines(product, fill, honey)),
        )

    def net_back(self, product: Product, channel: str) -> JarNetBack | None:
        """Return what a product brings back in a channel, or None where it has no price."""
        price = self._price(product, channel)
        if price is None:
            return None
        fill = self.fill(product)
        cost = self._channel(channel)
        percent = self.tax_percents.get(product.pk, Decimal(0))
        discount, after_discount, card, kept_share = _deductions(price, cost, percent)
        label_pounds = fill.declared_grams / unit_grams()
        lines = [
            CostLine("price", _("Price"), _how_priced(percent), price),
            CostLine(
                "discount", _("Discount"), _percent_of(cost.discount_percent, price), discount
            ),
            CostLine("card", _("Card fee"), _percent_of(cost.card_percent, after_discount), card),
            *_tax_lines(after_discount, percent),
            CostLine(
                "channel",
                _("Selling this way"),
                _("%(piece)s a piece and %(price)s a %(unit)s")
                % {
                    "piece": words.unit_price(Decimal(cost.piece_cents) / 100),
                    "price": words.unit_price(cost.per_pound),
                    "unit": unit_name(),
                },
                -_four_places(Decimal(cost.piece_cents) / 100 + cost.per_pound * label_pounds),
            ),
            *(
                replace(line, each=None if line.each is None else -line.each)
                for line in self._packing_lines(product, fill, honey=None)
            ),
        ]
        return JarNetBack(product, channel, price, fill, tuple(lines), kept_share)

    def net_backs(self) -> list[JarNetBack]:
        """Return every product in every channel where it has a price, the best last."""
        found = [
            net_back
            for product in self.products
            for channel in TIER_OF_CHANNEL
            if (net_back := self.net_back(product, channel))
        ]
        known = [each for each in found if each.per_pound is not None]
        unknown = [each for each in found if each.per_pound is None]
        return unknown + sorted(known, key=lambda each: cast(Decimal, each.per_pound))

    def best_net_back(self) -> JarNetBack | None:
        """Return the product and channel that bring back most a pound, of those that are known."""
        known = [each for each in self.net_backs() if each.per_pound is not None]
        return known[-1] if known else None

    def drum_net_back(self, price_per_pound: Decimal) -> DrumNetBack:
        """Return what a pound in a drum at this price brings back."""
        cost = self._channel(Channel.BULK)
        percent = self.bulk_tax_percent
        discount, after_discount, card, kept_share = _deductions(price_per_pound, cost, percent)
        lines = (
            CostLine("price", _("Price"), _how_priced(percent), _four_places(price_per_pound)),
            CostLine(
                "discount",
                _("Discount"),
                _percent_of(cost.discount_percent, price_per_pound),
                discount,
            ),
            CostLine("card", _("Card fee"), _percent_of(cost.card_percent, after_discount), card),
            *_tax_lines(after_discount, percent),
            CostLine(
                "channel",
                _("Selling this way"),
                _("%(price)s a %(unit)s")
                % {"price": words.unit_price(cost.per_pound), "unit": unit_name()},
                -_four_places(cost.per_pound),
            ),
        )
        return DrumNetBack(price_per_pound, lines, kept_share, cost.per_pound)

    def is_sold_in(self, product: Product, channel: str) -> bool:
        """Tell whether a product is sold in a channel: a private label only in its customer's."""
        tier = TIER_OF_CHANNEL[Channel(channel)]
        customer = self.price_lists[tier].of(product).private_to
        return customer is None or customer.tier == tier

    def _price(self, product: Product, channel: str) -> Decimal | None:
        if not self.is_sold_in(product, channel):
            return None
        cents = self.what_if.piece_cents.get((product.pk, channel))
        if cents is None:
            offer = self.price_lists[TIER_OF_CHANNEL[Channel(channel)]].of(product).offer()
            if offer is None:
                return None
            # Nobody asks for a part of a cent, so none is tried.
            cents = round(offer.piece_cents * (1 + self.what_if.jar_percent / 100))
        return _four_places(Decimal(cents) / 100)

    def _channel(self, channel: str) -> ChannelCost:
        return self.channels.get(channel) or ChannelCost(channel=channel)

    def fill(self, product: Product) -> Fill:
        """Return the average fill of recorded runs, or the label weight while there are none."""
        runs = self.runs.get(product.pk)
        declared = product.declared_grams
        net, loss, broken, minutes = declared, Decimal(0), Decimal(0), None
        if runs:
            filled = runs["filled"]
            packed = runs["drawn"] - runs["loss"] - runs["broken"] * declared
            net, loss = packed / filled, Decimal(runs["loss"]) / filled
            broken = Decimal(runs["broken"]) / filled
            minutes = Decimal(runs["minutes"]) / runs["timed"] if runs["timed"] else None
        if self.what_if.overfill_percent is not None:
            net = declared * (1 + self.what_if.overfill_percent / 100)
        if minutes is None:
            minutes = self.minutes.get(product.pk)
        return Fill(runs["count"] if runs else 0, net, loss, broken, minutes, declared)

    def _honey_lines(self, fill: Fill, honey: HoneyCost) -> list[CostLine]:
        def line(kind: str, label: str, grams: Decimal) -> CostLine:
            weight = number_format(round(grams, 1), 1)
            if honey.cents_per_gram is None or honey.per_pound is None:
                how = _("%(grams)s g; the cost of this honey is not entered") % {"grams": weight}
                return CostLine(kind, label, how, None)
            how = _("%(grams)s g at %(price)s a %(unit)s") % {
                "grams": weight,
                "price": words.unit_price(honey.per_pound),
                "unit": unit_name(),
            }
            return CostLine(kind, label, how, _money(Fraction(grams) * honey.cents_per_gram))

        return [
            line("honey", _("Honey on the label"), fill.declared_grams),
            line("overfill", _("Overfill"), fill.over_grams),
            line("loss", _("Filling loss"), fill.loss_grams),
        ]

    def _packing_lines(
        self, product: Product, fill: Fill, honey: HoneyCost | None
    ) -> list[CostLine]:
        """Return parts, broken pieces and labour; the honey of broken pieces where it is asked."""
        part_lines = [self._part_line(row) for row in self.parts.get(product.pk, ())]
        if not part_lines:
            part_lines = [CostLine("part", _("Jar, lid and label"), _("no parts listed"), None)]
        broken = _total([line for line in part_lines if line.kind == "part"])
        if honey is not None and broken is not None:
            broken = (
                None
                if honey.cents_per_gram is None
                else broken + _money(Fraction(fill.declared_grams) * honey.cents_per_gram)
            )
        if not fill.broken_share:
            broken = Decimal(0)
        return [
            *part_lines,
            CostLine(
                "broken",
                _("Broken pieces"),
                _("%(share)s in a hundred")
                % {"share": number_format(round(fill.broken_share * 100, 1), 1)},
                None if broken is None else _four_places(broken * fill.broken_share),
            ),
            self._labour_line(fill),
        ]

    def _part_line(self, row: UsedPart) -> CostLine:
        cost = self.part_costs.get(row.part_id)
        kind = "case" if row.part.kind == row.part.Kind.CASE else "part"
        how = _("%(count)s for %(pieces)s") % {"count": row.quantity, "pieces": row.per_pieces}
        if cost is None:
            return CostLine(kind, row.part.name, how, None)
        price = words.unit_price(_money(cost))
        quoted_on = self.quoted_on.get(row.part_id)
        if quoted_on is None:
            how = _("%(how)s, at %(price)s, paid last") % {"how": how, "price": price}
        else:
            day = date_format(quoted_on, "DATE_FORMAT")
            how = _("%(how)s, at %(price)s, quoted on %(day)s") % {
                "how": how,
                "price": price,
                "day": day,
            }
        return CostLine(
            kind, row.part.name, how, _money(cost * Fraction(row.quantity, row.per_pieces))
        )

    def _labour_line(self, fill: Fill) -> CostLine:
        rate = Decimal(self.labour_cents_per_hour) / 100
        if fill.minutes is None and rate:
            return CostLine("labour", _("Labour"), _("minutes per piece not entered"), None)
        if not rate:
            # Nobody can tell whether 0 was meant or left, so the line says what it does.
            how = _("the rate of an hour is 0, so work costs nothing here")
            return CostLine("labour", _("Labour"), how, Decimal(0))
        minutes = fill.minutes or Decimal(0)
        return CostLine(
            "labour",
            _("Labour"),
            _("%(minutes)s minutes at %(rate)s an hour")
            % {"minutes": number_format(round(minutes, 2), 2), "rate": words.unit_price(rate)},
            _four_places(minutes * rate / 60),
        )


def _up_to_a_cent(price: Decimal) -> Decimal:
    # A share such as 100 / 110 is not exact: its last digit must not make a cent.
    return round(max(price, Decimal(0)), 9).quantize(Decimal("0.01"), ROUND_CEILING)


def _how_priced(tax_percent: Decimal) -> str:
    return _("with the tax in it") if tax_percent else _("before sales tax")


def _tax_lines(after_discount: Decimal, percent: Decimal) -> list[CostLine]:
    """Return the tax in a price that includes it, which is not the house's; none elsewhere."""
    if not percent:
        return []
    tax = -_four_places(after_discount * percent / (100 + percent))
    how = _("%(percent)s %% on what is left without it") % {"percent": words.number(percent)}
    return [CostLine("tax", _("Tax in the price"), how, tax)]


def _deductions(
    price: Decimal, cost: ChannelCost, tax_percent: Decimal
) -> tuple[Decimal, Decimal, Decimal, Decimal]:
    """Return discount, price after it, card fee, and the share of the price that stays.

    The fee of a card is taken of the price with its tax.
    """
    discount = -_four_places(price * cost.discount_percent / 100)
    card = -_four_places((price + discount) * cost.card_percent / 100)
    tax_share = tax_percent / (100 + tax_percent)
    kept_share = (1 - Decimal(cost.discount_percent) / 100) * (
        1 - Decimal(cost.card_percent) / 100 - tax_share
    )
    return discount, price + discount, card, kept_share


def _total(lines: Sequence[CostLine]) -> Decimal | None:
    known = [line.each for line in lines if line.each is not None]
    return sum(known, Decimal(0)) if len(known) == len(lines) else None


def _money(cents: Fraction) -> Decimal:
    """Return cents as currency to four places, half a step to the even one."""
    return Decimal(round(cents * 100)).scaleb(-4)


def _four_places(amount: Decimal) -> Decimal:
    return Decimal(amount).quantize(FOUR_PLACES)


def _percent_of(percent: Decimal, price: Decimal) -> str:
    return _("%(percent)s %% of %(price)s") % {
        "percent": number_format(Decimal(percent).normalize() + 0),
        "price": words.unit_price(price),
    }
