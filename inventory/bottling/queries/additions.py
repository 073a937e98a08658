"""What goes into jars beside liquid honey, for display: seed, comb, and what there is to cut."""

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import QuerySet

from inventory.bottling.models import BottlingRun, CombCut, Creaming, Product, RunComb
from inventory.bottling.rules import filling, forms_of_honey
from inventory.bottling.rules.forms_of_honey import Addition
from inventory.stock.models import Balance, Lot, Place


@dataclass(frozen=True)
class Wanted:
    """The seed or the comb that a plan asks for, as a form or a planned run has it."""

    seed_source: Place | None = None
    seed_percent: Decimal | None = None
    setting_place: str = ""
    setting_days: int | None = None
    comb: Balance | None = None
    comb_grams_each: int | None = None
    # Comb that the run was planned with and that is gone.
    is_comb_gone: bool = False


@dataclass(frozen=True)
class RunAddition:
    """The seed or the comb of a run, planned or recorded."""

    creaming: Creaming | None
    comb: RunComb | None

    @property
    def takes_seed(self) -> bool:
        return self.creaming is not None and self.creaming.seed_source is not None

    @property
    def is_comb_weighed(self) -> bool:
        product = self.comb.lot.product if self.comb else None
        return product is not None and product.item.is_weighed


def of_run(run: BottlingRun) -> RunAddition:
    """Return what goes into the jars of a run beside its honey."""
    creaming = Creaming.objects.filter(run=run).select_related(
        "seed_source", "seed_lot", "hastened_by"
    )
    comb = RunComb.objects.filter(run=run).select_related("lot__product__item", "place")
    return RunAddition(creaming.first(), comb.first())


def wanted_by(run: BottlingRun) -> Wanted:
    """Return what a planned run asks for."""
    found = of_run(run)
    creaming, comb = found.creaming, found.comb
    there = Balance.objects.of_lot_at(comb.lot, comb.place) if comb else None
    return Wanted(
        seed_source=creaming.seed_source if creaming else None,
        seed_percent=creaming.seed_percent if creaming else None,
        setting_place=creaming.setting_place if creaming else "",
        setting_days=creaming.setting_days if creaming else None,
        comb=there,
        comb_grams_each=comb.grams_each if comb else None,
        is_comb_gone=comb is not None and there is None,
    )


def previewed(
    run: BottlingRun,
    *,
    drawn_grams: int,
    pieces: int,
    seed_grams: int | None,
    comb_quantity: int | None,
) -> tuple[Addition | None, list[str]]:
    """Return what recording a run would take beside its honey, and what is odd about it."""
    wanted = wanted_by(run)
    if wanted.seed_source and wanted.seed_percent:
        grams = seed_grams
        if grams is None:
            grams = forms_of_honey.seed_for(drawn_grams, wanted.seed_percent)
        there = Balance.objects.in_vessel(wanted.seed_source)
        found = forms_of_honey.addition_of(there, grams) if there and grams > 0 else None
        return found, filling.draw_notices(there, wanted.seed_source, grams)
    planned = of_run(run).comb
    if planned and planned.lot.product:
        product = planned.lot.product
        quantity = comb_quantity
        if quantity is None:
            quantity = forms_of_honey.comb_quantity(product, planned.grams_each * pieces)
        comb = wanted.comb or Balance(
            item=product.item, place=planned.place, lot=planned.lot, quantity=0
        )
        found = forms_of_honey.addition_of(comb, quantity) if quantity > 0 else None
        return found, filling.draw_notices(comb, planned.place, quantity)
    return None, []


def comb_in_stock(*, to_cut: bool = False) -> QuerySet[Balance]:
    """Return the comb honey on shelves, stand and van, oldest first; or that by weight alone."""
    found = Balance.objects.in_stores().filter(item__product__form=Product.Form.COMB)
    if to_cut:
        found = found.filter(item__is_weighed=True)
    return found.select_related("item", "place", "lot__product__item").order_by(
        "lot__made_on", "lot_id", "place__name"
    )


def forms_in_use() -> set[str]:
    """Return the forms of the honey that the house offers."""
    return set(Product.objects.in_use().of_honey().values_list("form", flat=True))


def cut_of(lot: Lot) -> CombCut | None:
    """Return how the pieces of a lot were cut, where they were."""
    return CombCut.objects.filter(packed_lot=lot).select_related("comb_lot", "drained_lot").first()


def setting_lots() -> list[Lot]:
    """Return the lots of creamed honey that are in stock and not ready yet, the first ready
    first."""
    lots = Lot.objects.filter(
        ready_on__isnull=False, balances__is_physical=True, balances__quantity__gt=0
    )
    found = lots.select_related("product", "run__creaming").order_by("ready_on", "id").distinct()
    return [lot for lot in found if lot.is_setting]
