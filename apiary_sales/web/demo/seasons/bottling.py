"""What was bottled and made: as much as is sold until the next time, and some more."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from itertools import count, pairwise
from math import ceil

from django.db.models import Sum

from apiary_sales.billing.services import bills
from apiary_sales.billing.services.bills import LineBilled
from apiary_sales.web.demo.fixtures import STORY_DAYS, cents, grams, key, read
from apiary_sales.web.demo.seasons import harvest, money
from apiary_sales.web.demo.seasons.things import Things, at
from apiary_sales.web.demo.seasons.timeline import DatedAct, Turn
from inventory.bottling.models import BottlingRun, PackagingPart, PartReceipt, Product
from inventory.bottling.services import gift_boxes, goods, parts, runs
from inventory.bottling.services.goods import Material
from inventory.stock.models import Balance, Place, Posting, PostingLine, Supplier
from inventory.stock.services import drums, stores


class Bottling:
    """Runs of the seasons, with the parts they need and the honey they draw."""

    def __init__(self, rows: dict, things: Things, sold: list[DatedAct]) -> None:
        self.rows, self.things = rows, things
        self.sold = sold
        self._run = count()

    def acts(self) -> Iterator[DatedAct]:
        yield from self._by_need()
        for row in self.rows["variety_runs"]:
            day = self.things.years.day(row["ago"], row["on"])
            for code, pieces in row["runs"].items():
                yield self._act(day, code, pieces, next(self._run), row["source"])
        yield from self._bills()
        yield from self._goods()
        yield from self._corrections()

    def _by_need(self) -> Iterator[DatedAct]:
        rule, days = self.rows["bottling"], self._days()
        left: Counter[str] = Counter()
        for row in self.rows["products"]:
            code = row["code"]
            for day, next_day in pairwise(days[:: row.get("every", 1)]):
                sold = sum(act.takes.get(code, 0) for act in self.sold if day <= act.day < next_day)
                wanted = sold * (100 + rule["more_percent"]) / 100 - left[code]
                pieces = ceil(wanted / row["by"]) * row["by"]
                left[code] -= sold
                if pieces > 0:
                    number = next(self._run)
                    left[code] += pieces - self._broken(number, pieces)
                    yield self._act(day, code, pieces, number)

    def _bills(self) -> Iterator[DatedAct]:
        """The parts of a day of bottling come with one bill, and those before it without one."""
        rule = self.rows["parts"]
        for day in self._days():
            name = f"{day}-parts"
            paid_on = day + timedelta(days=rule["paid_after_days"])
            yield DatedAct(day, Turn.MADE, name, "bills", partial(self._enter_bill, day, name))
            pay = partial(money.pay, paid_on, name, self.things)
            yield DatedAct(paid_on, Turn.PAID, name, "", pay)

    def _enter_bill(self, day: date, name: str) -> None:
        supplier = Supplier.objects.get(name=self.rows["parts"]["supplier"])
        came = PartReceipt.objects.filter(
            supplier=supplier, bill_lines=None, received_on__lte=day
        ).order_by("id")
        bills.enter(
            supplier=supplier,
            number=f"FG-{day:%y%m}",
            billed_on=day,
            lines=[LineBilled(receipt.cost_cents, delivery=receipt) for receipt in came],
            entered_by=self.things.seller,
            key=key(name),
        )

    def _days(self) -> list[date]:
        rule, years = self.rows["bottling"], self.things.years
        days = sorted(
            date(year, *map(int, on.split("-")))
            for year in range(years.first, years.last + 2)
            for on in rule["on"]
        )
        return [day for day in days if day >= years.day(2, rule["begins"])]

    def _broken(self, number: int, pieces: int) -> int:
        in_a_hundred = self.rows["bottling"]["broken"]
        return in_a_hundred[number % len(in_a_hundred)] * pieces // 100

    def _act(self, day: date, code: str, pieces: int, number: int, source: str = "") -> DatedAct:
        name = f"{day.year}-bottled-{day:%m%d}-{code}"
        return DatedAct(
            day,
            Turn.BOTTLED,
            name,
            "runs",
            partial(self._bottle, day, code, pieces, source, number, name),
        )

    def _bottle(
        self, day: date, code: str, pieces: int, source: str, number: int, name: str
    ) -> None:
        product, rule = self.things.products[code], self.rows["bottling"]
        each = int(product.declared_grams)
        broken = self._broken(number, pieces)
        lost = grams(rule["loss_pounds"][number % len(rule["loss_pounds"])])
        over = each * (pieces - broken) * rule["over"][number % len(rule["over"])] // 10_000
        drawn = each * pieces + over + lost
        vessel = self.things.place(source) if source else self._tank_with(drawn, day, name)
        self._bring_parts(product, pieces, day, name)
        run = runs.plan(
            product=product,
            source=vessel,
            target=self.things.place("storeroom"),
            pieces=pieces,
            planned_for=day,
            planned_by=self.things.bottler,
            key=key(name),
            day_is_right=True,
        )
        seconds = {row["code"]: row["seconds"] for row in self.rows["products"]}
        runs.record(
            run=run,
            pieces_filled=pieces - broken,
            pieces_broken=broken,
            drawn_grams=drawn,
            drawn_by=BottlingRun.DrawnBy.SCALE,
            loss_grams=lost,
            labour_minutes=25 + pieces * seconds.get(product.honey_size.code, 40) // 60,
            celsius=None,
            bottled_on=day,
            recorded_by=self.things.bottler,
            key=key(f"{name}-recorded"),
        )

    def _tank_with(self, needed: int, day: date, name: str) -> Place:
        """Pour drums into the tank until there is enough in it, the first ones first."""
        tank = self.things.place(self.rows["tank"]["code"])
        there = Balance.objects.in_vessel(tank)
        inside = there.free if there else 0
        for drum in harvest.full_drums() if inside <= needed else ():
            drums.drain(
                drum=drum.place,
                target=tank,
                recorded_by=self.things.bottler,
                key=key(f"{name}-{drum.place.code}"),
                drained_on=day,
            )
            inside += drum.quantity
            if inside > needed:
                break
        return tank

    def _bring_parts(self, product: Product, pieces: int, day: date, name: str) -> None:
        for use in product.uses():
            self._bring(use.part, ceil(pieces * use.quantity / use.per_pieces), day, name)

    def _bring(self, part: PackagingPart, needed: int, day: date, name: str) -> None:
        storeroom = self.things.place("storeroom")
        if self._there(part, storeroom, day) >= needed + self._kept_for_the_story(part, day):
            return
        pieces = ceil(max(needed * 2, 24) / 12) * 12
        price = self.things.years.figure(self.rows["parts"]["prices"][part.name], day)
        parts.receive(
            part=part,
            place=storeroom,
            pieces=pieces,
            cost_cents=cents(str(Decimal(price) * pieces)),
            supplier=self.rows["parts"]["supplier"],
            received_on=day,
            recorded_by=self.things.bottler,
            key=key(f"{name}-{part.code}"),
        )

    def _there(self, part: PackagingPart, storeroom: Place, day: date) -> int:
        """Return what is there: on that day as well, since the story's come before it is told."""
        lines = PostingLine.objects.filter(item=part.item, place=storeroom)
        by_then = lines.filter(posting__occurred_at__lt=at(day + timedelta(days=1), 0))
        return min(
            found.aggregate(pieces=Sum("quantity", default=0))["pieces"]
            for found in (lines, by_then)
        )

    def _kept_for_the_story(self, part: PackagingPart, day: date) -> int:
        """Return what the runs of the story that are still to come take of a part."""
        if (self.things.today - day).days >= STORY_DAYS:
            return 0
        # Those of other products are told last, though they were on earlier days.
        kept, later = 0, read("products")["runs"]
        for row in [*read("story")["runs"], *later]:
            if row["days_ago"] < (self.things.today - day).days or row in later:
                for use in self.things.products[row["product"]].uses():
                    if use.part == part:
                        kept += ceil(row["planned"] * use.quantity / use.per_pieces)
        return kept

    def _goods(self) -> Iterator[DatedAct]:
        things, storeroom = self.things, "storeroom"
        for row in self.rows["wax"]:
            day = things.years.day(row["ago"], row["on"])
            yield DatedAct(
                day,
                Turn.MADE,
                "wax",
                "",
                partial(
                    goods.make,
                    product=things.products["beeswax"],
                    place=things.place(storeroom),
                    quantity=grams(row["pounds"]),
                    made_on=day,
                    labour_minutes=row["minutes"],
                    recorded_by=things.bottler,
                    key=key(f"{day.year}-wax"),
                ),
            )
        for row in self.rows["candles"]:
            day = things.years.day(row["ago"], row["on"])
            yield DatedAct(
                day,
                Turn.MADE,
                "candles",
                "",
                partial(
                    goods.make,
                    product=things.products[row["product"]],
                    place=things.place(storeroom),
                    quantity=row["made"],
                    materials=[
                        Material(
                            things.products["beeswax"],
                            grams(row["wax_pounds"]),
                            lost=grams(row["lost_pounds"]),
                        )
                    ],
                    made_on=day,
                    labour_minutes=row["minutes"],
                    recorded_by=things.bottler,
                    key=key(f"{day.year}-candles"),
                ),
            )
        for row in self.rows["gift_boxes"]:
            day = things.years.day(row["ago"], row["on"])
            yield DatedAct(
                day,
                Turn.MADE,
                "gift-boxes",
                "",
                partial(self._put_together, row, day),
            )

    def _put_together(self, row: dict, day: date) -> None:
        carton = PackagingPart.objects.get(name="Gift carton")
        self._bring(carton, row["boxes"], day, f"{day.year}-gift-boxes")
        gift_boxes.put_together(
            box=self.things.products["dark-gift-box"],
            place=self.things.place("storeroom"),
            boxes=row["boxes"],
            labour_minutes=row["minutes"],
            changed_on=day,
            changed_by=self.things.bottler,
            key=key(f"{day.year}-gift-boxes"),
        )

    def _corrections(self) -> Iterator[DatedAct]:
        for row in [*self.rows["counts"], *self.rows["written_off"]]:
            day = self.things.years.day(row["ago"], row["on"])
            do = self._count if "missing" in row else self._write_off
            yield DatedAct(day, Turn.COUNTED, "corrected", "", partial(do, row, day))

    def _oldest(self, code: str) -> Balance:
        found = Balance.objects.filter(
            item=self.things.products[code].item,
            place=self.things.place("storeroom"),
            quantity__gt=0,
        )
        return found.select_related("lot").order_by("-quantity", "lot_id")[0]

    def _count(self, row: dict, day: date) -> None:
        there = self._oldest(row["product"])
        stores.count(
            item=there.item,
            lot=there.lot,
            place=there.place,
            counted=there.quantity - row["missing"],
            reason=row["reason"],
            recorded_by=self.things.bottler,
            key=key(f"{day}-count-{row['product']}"),
            counted_on=day,
        )

    def _write_off(self, row: dict, day: date) -> None:
        there = self._oldest(row["product"])
        stores.write_off(
            item=there.item,
            lot=there.lot,
            place=there.place,
            pieces=row["pieces"],
            reason=Posting.Kind(row["why"]),
            recorded_by=self.things.bottler,
            key=key(f"{day}-written-off-{row['product']}"),
            note=row["note"],
            written_off_on=day,
        )
