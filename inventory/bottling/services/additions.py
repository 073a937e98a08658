"""What goes into the jars of a run beside liquid honey: the seed of creamed honey, and comb."""

from datetime import date, datetime
from decimal import Decimal
from typing import cast

from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, Creaming, FillCheck, Product, RunComb
from inventory.bottling.rules import estimates, forms_of_honey
from inventory.bottling.rules.filling import Shares
from inventory.bottling.rules.forms_of_honey import Addition
from inventory.shared import checks
from inventory.shared.errors import Problems
from inventory.stock import rules as stock_rules
from inventory.stock.models import Balance, Item, Lot, Place, ProductionSettings
from inventory.stock.services import honey, ledger, lots


def check_seed(
    problems: Problems,
    *,
    product: Product,
    source: Place,
    seed_source: Place | None,
    seed_percent: Decimal | None,
    setting_days: int | None,
    share_is_right: bool,
) -> None:
    """Name what is wrong with the seed that is planned, before anything is locked."""
    if setting_days is not None and not 0 <= setting_days <= forms_of_honey.SETTING_DAYS_MAX:
        problems.add("setting_days", _("Enter how many days it sets, from 0 to 365."))
    if seed_source is None:
        return
    if product.form != Product.Form.CREAMED:
        problems.add(
            "seed_source",
            _("%(product)s is not creamed honey, so no seed goes into it.")
            % {"product": product.name},
        )
        return
    stock_rules.check_vessel(problems, "seed_source", seed_source)
    if seed_source == source:
        problems.add(
            "seed_source", _("Choose another vessel for the seed than for the honey itself.")
        )
    if seed_percent is None or not 0 < seed_percent < 100:
        problems.add("seed_percent", _("Enter the share of the seed, more than 0 and below 100 %."))
    elif forms_of_honey.is_odd_share(seed_percent) and not share_is_right:
        problems.add("share_is_right", forms_of_honey.odd_share_sentence(seed_percent))


def check_comb(
    problems: Problems, *, product: Product, comb: Balance | None, comb_grams_each: int | None
) -> None:
    """Name what is wrong with the comb that is planned, before anything is locked."""
    if product.form != Product.Form.CHUNK:
        if comb is not None:
            problems.add(
                "comb",
                _("%(product)s is not chunk honey, so no comb goes into it.")
                % {"product": product.name},
            )
        return
    if comb is None:
        problems.add("comb", forms_of_honey.no_comb_sentence())
    elif comb.honey_lot.product is None or comb.honey_lot.product.form != Product.Form.COMB:
        problems.add("comb", _("%(item)s is not comb honey.") % {"item": comb.item.name})
    if sentence := forms_of_honey.comb_error_sentence(product.honey_size, comb_grams_each or 0):
        problems.add("comb_grams_each", sentence)


def keep_plan(
    run: BottlingRun,
    *,
    seed_source: Place | None,
    seed_percent: Decimal | None,
    setting_place: str,
    setting_days: int | None,
    comb: Balance | None,
    comb_grams_each: int | None,
) -> None:
    """Keep with a planned run what goes in beside its honey, and how it sets.

    With seed and without days it sets as long as is usual in the house.
    """
    if run.product.form == Product.Form.CREAMED:
        if setting_days is None:
            setting_days = ProductionSettings.current().setting_days if seed_source else 0
        checks.save_checked(
            Creaming(
                run=run,
                seed_source=seed_source,
                seed_percent=seed_percent if seed_source else None,
                setting_place=setting_place.strip(),
                setting_days=setting_days,
            )
        )
    elif comb is not None:
        RunComb.objects.create(
            run=run, lot=comb.honey_lot, place=comb.place, grams_each=comb_grams_each or 0
        )


def items_of(run: BottlingRun) -> list[Item]:
    """Return the items that a run takes beside honey and parts, to be locked."""
    comb = RunComb.objects.filter(run=run).select_related("lot__product__item").first()
    return [comb.lot.product.item] if comb and comb.lot.product else []


def taken(
    run: BottlingRun,
    *,
    drawn_grams: int,
    pieces: int,
    seed_grams: int | None,
    comb_quantity: int | None,
    at: datetime | None = None,
) -> Addition | None:
    """Return what a run that is recorded took beside its honey; None for liquid honey.

    Without figures it took what was planned for so much honey and so many pieces; at an earlier
    moment, the seed that was in its vessel then. The books need not have had so much. Raises what
    stands against it, at "seed_grams" or "comb_quantity".
    """
    creaming = Creaming.objects.filter(run=run).select_related("seed_source").first()
    if creaming and creaming.seed_source and creaming.seed_percent:
        grams = seed_grams
        if grams is None:
            grams = forms_of_honey.seed_for(drawn_grams, creaming.seed_percent)
        return _seed(creaming.seed_source, grams, at)
    comb = RunComb.objects.filter(run=run).select_related("lot__product", "place").first()
    if comb:
        product = cast(Product, comb.lot.product)
        quantity = comb_quantity
        if quantity is None:
            quantity = forms_of_honey.comb_quantity(product, comb.grams_each * pieces)
        return _comb(comb, quantity)
    return None


def estimated_drawn(
    run: BottlingRun,
    *,
    pieces_filled: int,
    pieces_broken: int,
    loss_grams: int = 0,
    seed_grams: int | None = None,
    comb_quantity: int | None = None,
    at: datetime | None = None,
) -> int:
    """Return what a run drew from its vessel as its pieces say, where nobody measured it.

    Raises what stands against its seed or its comb, as `taken`.
    """
    whole = estimates.honey_grams(
        run.size,
        pieces_filled=pieces_filled,
        pieces_broken=pieces_broken,
        loss_grams=loss_grams,
        overfill_grams=FillCheck.objects.average_overfill(run.size),
    )
    creaming = Creaming.objects.filter(run=run).first()
    seed_percent = creaming.seed_percent if creaming else None
    comb = None
    if seed_percent is None:
        comb = taken(
            run,
            drawn_grams=whole,
            pieces=pieces_filled + pieces_broken,
            seed_grams=seed_grams,
            comb_quantity=comb_quantity,
            at=at,
        )
    return estimates.drawn_grams(
        whole,
        seed_percent=seed_percent,
        seed_grams=seed_grams if seed_percent is not None else None,
        comb_grams=comb.grams if comb else 0,
    )


def _seed(source: Place, grams: int, at: datetime | None) -> Addition:
    problems = Problems()
    lot = honey.lot_drawn(source, at)
    if grams <= 0:
        problems.add("seed_grams", _("Enter the seed that went in, more than zero."))
    if lot is None:
        problems.add(
            "seed_grams",
            _("%(place)s never had any honey by the books. Enter what came into it first.")
            % {"place": source.name},
        )
    problems.raise_any()
    there = Balance(item=Item.objects.honey(), place=source, lot=lot, quantity=grams)
    return forms_of_honey.addition_of(there, grams)


def _comb(planned: RunComb, quantity: int) -> Addition:
    problems = Problems()
    if quantity <= 0:
        problems.add("comb_quantity", _("Enter the comb that went in, more than zero."))
    problems.raise_any()
    product = cast(Product, planned.lot.product)
    there = Balance(item=product.item, place=planned.place, lot=planned.lot, quantity=quantity)
    return forms_of_honey.addition_of(there, quantity)


def lines(
    addition: Addition, shares: Shares, *, pieces_filled: int, pieces_broken: int
) -> list[ledger.Line]:
    """Return the lines that carry the addition into the jars, to the loss and with broken ones."""
    if addition.is_comb:
        broken = forms_of_honey.broken_quantity(addition, pieces_filled, pieces_broken)
        ways = [
            (Place.Kind.PACKING, addition.quantity - broken),
            (Place.Kind.BROKEN, broken),
        ]
    else:
        ways = [
            (Place.Kind.PACKING, shares.packed_grams),
            (Place.Kind.FILLING_LOSS, shares.loss_grams),
            (Place.Kind.BROKEN, shares.broken_grams),
        ]
    made = []
    for kind, quantity in ways:
        made += ledger.move(
            item=addition.item,
            lot=addition.lot,
            source=addition.place,
            target=Place.objects.outside(kind),
            quantity=quantity,
        )
    return made


def honey_in_jars(lot: Lot, grams: int, source: Place, addition: Addition, added: int) -> Lot:
    """Return the honey of the jars with its measurements, not saved where it is of two lots.

    Comb is not measured: chunk honey has the figures of its liquid honey.
    """
    if not addition.is_comb:
        return lots.mixed(
            [lots.Portion(lot, grams, source), lots.Portion(addition.lot, added, addition.place)]
        )
    return Lot(
        season=max(lot.season, addition.lot.season),
        floral_source=lots.joined([lot.floral_source, addition.lot.floral_source]),
        yard=lots.joined([lot.yard, addition.lot.yard]),
        moisture_percent=lot.moisture_percent,
        colour_mm=lot.colour_mm,
        owner=lot.owner,
    )


def keep_taken(run: BottlingRun, addition: Addition) -> None:
    """Keep with a recorded run what went in beside its honey."""
    run.added_grams = addition.grams
    if addition.is_comb:
        RunComb.objects.filter(run=run).update(quantity=addition.quantity, grams=addition.grams)
    else:
        Creaming.objects.filter(run=run).update(seed_lot=addition.lot, seed_grams=addition.quantity)


def drawn_beside(run: BottlingRun) -> list[tuple[Lot, int]]:
    """Return the lots that a recorded run drew beside its honey, with how much of each."""
    found = [
        (row.seed_lot, row.seed_grams)
        for row in Creaming.objects.filter(run=run).select_related("seed_lot")
        if row.seed_lot
    ]
    return found + [
        (row.lot, row.quantity)
        for row in RunComb.objects.filter(run=run, quantity__gt=0).select_related("lot")
    ]


def ready_on(run: BottlingRun, bottled_on: date) -> date | None:
    """Return the day the jars of a run are ready for sale; None for those that are at once."""
    creaming = Creaming.objects.filter(run=run).first()
    return forms_of_honey.ready_on(bottled_on, creaming.setting_days) if creaming else None
