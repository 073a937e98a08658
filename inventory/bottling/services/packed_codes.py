"""Lot codes of what is packed: the next by the house's pattern, and which are taken."""

from datetime import date

from django.db.models import Q
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingDay, BottlingDayRow, BottlingRun, Product
from inventory.shared.errors import BadValue, Problems
from inventory.stock import lot_codes
from inventory.stock.models import Lot, Place, ProductionSettings
from inventory.stock.services import numbers


def next_code(product: Product, day: date, *, honey: Lot | None = None) -> str:
    """Return the code by the house's pattern for what is packed of this product on a day.

    A pattern without a number gives all runs of a day one code; a second run of the same product
    gets a number behind it, and so does `honey` of another owner, so that they stay apart. Jars
    that wait for a label may become this product with their code, or jars of it be labelled later.
    """

    def cannot_be(code: str) -> bool:
        return (
            is_taken(code, product)
            or _waits_for_a_label(code, product)
            or bool(honey and _of_another_owner(code, honey))
        )

    code = lot_codes.of_day(ProductionSettings.current().lot_code_pattern, day)
    series = lot_codes.series(code)
    if lot_codes.has_number(code):
        while cannot_be(made := lot_codes.numbered(code, numbers.next_number(series))):
            pass
        return made
    made, number = code, 1
    while cannot_be(made):
        number += 1
        made = f"{code}-{number}"
    return made


def is_taken(code: str, product: Product) -> bool:
    """Tell whether pieces of this product bear the code, or a run or a sheet is to stamp it.

    Capitals make no other code: who asks about a jar types it as it comes.
    """
    return (
        Lot.objects.filter(code__iexact=code, product=product).exists()
        or BottlingDayRow.objects.filter(
            lot_code__iexact=code, product=product, run=None, day__status=BottlingDay.Status.DRAFT
        ).exists()
        or BottlingRun.objects.filter(lot_code__iexact=code, product=product)
        .exclude(status=BottlingRun.Status.CANCELLED)
        .exists()
    )


def _waits_for_a_label(code: str, product: Product) -> bool:
    """Tell whether jars with this code become one product by a label that they wait for."""
    alike = Product.objects.of_honey().filter(size=product.size, form=product.form)
    if not product.is_unlabelled:
        alike = alike.filter(is_unlabelled=True)
    return product.is_filled and any(is_taken(code, other) for other in alike)


def taken_error(code: str, product: Product, *, parameter: str) -> BadValue | None:
    """Return the refusal of a code that is taken, or None."""
    if code and (other := _bearer_of(code)):
        return BadValue(
            _("%(code)s is %(other)s. Type a code that nothing else has.")
            % {"code": code, "other": other},
            parameter=parameter,
        )
    if not code or not is_taken(code, product):
        return None
    return BadValue(
        _("Lot %(code)s of %(product)s is there already. Type another code.")
        % {"code": code, "product": product.name},
        parameter=parameter,
    )


def _bearer_of(code: str) -> str:
    """Say what else a code names: a vessel, or honey in bulk; an empty text for nothing.

    Whoever asks about a code then means one kind of thing.
    """
    vessel = Place.objects.filter(
        Q(code__iexact=code) | Q(name__iexact=code), kind__in=Place.VESSELS
    ).first()
    if vessel is not None:
        return _("the number of %(vessel)s") % {"vessel": vessel.name}
    if Lot.objects.filter(code__iexact=code, product=None).exists():
        return _("the code of a lot of honey in bulk")
    return ""


def check_honey(problems: Problems, *, lot_code: str, honey: Lot, lot_code_is_right: bool) -> None:
    """Keep one code from jars of two owners, and ask about one for jars of different honey.

    Several sizes may be filled from one honey, or from blends that share some of it.
    """
    if other := _of_another_owner(lot_code, honey):
        sentence = _("Lot %(code)s is on jars of your own honey. Type another code.")
        if other.owner:
            sentence = _(
                "Lot %(code)s is on jars of honey that belongs to %(owner)s. Type another code."
            )
        problems.add("lot_code", sentence % {"code": lot_code, "owner": other.owner})
        return
    strange = next((lot for lot in _honey_under(lot_code) if not _share_some(honey, lot)), None)
    if strange and not lot_code_is_right:
        problems.add(
            "lot_code_is_right",
            _(
                "Lot %(code)s is on jars of other honey, %(other)s, and these jars are of "
                "%(now)s. Type another code, or tick that one code is right: a recall of it "
                "then calls both back."
            )
            % {"code": lot_code, "other": strange.code, "now": honey.code},
        )


def _of_another_owner(code: str, honey: Lot) -> Lot | None:
    """Return honey of another owner that is in jars with this code, or None."""
    return next((lot for lot in _honey_under(code) if lot.owner_id != honey.owner_id), None)


def _honey_under(code: str) -> list[Lot]:
    """Return the honey of the runs that stamped this code, or are planned to."""
    gone = (BottlingRun.Status.CANCELLED, BottlingRun.Status.REVERSED)
    runs = BottlingRun.objects.filter(lot_code=code).exclude(status__in=gone)
    return list(Lot.objects.filter(pk__in=runs.values("lot")).select_related("owner"))


def _share_some(one: Lot, other: Lot) -> bool:
    """Tell whether some honey is in both lots."""
    return (
        Lot.objects.filter(pk__in=Lot.objects.source_keys([one.pk]))
        .filter(pk__in=Lot.objects.source_keys([other.pk]))
        .exists()
    )
