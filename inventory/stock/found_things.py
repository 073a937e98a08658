"""What "Find anything" finds of the stock: lots, places and suppliers."""

from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.shared import findable
from inventory.shared.findable import Findable, SearchWords, ThingPage
from inventory.stock import own_places
from inventory.stock.models import Lot, Place, Supplier


def register() -> None:
    findable.register(
        Findable(
            name="lot",
            number=10,
            label=gettext_lazy("Lots"),
            one=gettext_lazy("Lot"),
            model="inventory.Lot",
            fields=("code", "supplier_lot"),
            reads=lambda lot: SearchWords(codes=(lot.code, lot.supplier_lot)),
            pages=(ThingPage((), lot_url),),
            line=_what_the_lot_is,
            day=lambda lot: lot.made_on,
            along=("product", "supplier"),
        )
    )
    findable.register(
        Findable(
            name="place",
            number=20,
            label=gettext_lazy("Drums, tanks and places"),
            one=gettext_lazy("Place"),
            model="inventory.Place",
            fields=("code", "name", "kind"),
            reads=lambda place: SearchWords(codes=(place.code,), words=(place.name,)),
            pages=(
                ThingPage((), lambda place: reverse("inventory:place_detail", args=[place.code])),
            ),
            line=_what_the_place_is,
            belongs=lambda place: place.is_physical,
            where=Q(kind__in=Place.IN_HOUSE),
            seen_by=lambda user: (
                None if own_places.has_every(user) else own_places.of(user, Place.objects.all())
            ),
        )
    )
    findable.register(
        Findable(
            name="supplier",
            number=120,
            label=gettext_lazy("Suppliers and beekeepers"),
            one=gettext_lazy("Supplier"),
            model="inventory.Supplier",
            fields=("name", "contact", "phone", "email"),
            reads=lambda supplier: SearchWords(
                codes=(supplier.name,),
                words=(supplier.contact, supplier.email),
                phones=(supplier.phone,),
            ),
            pages=(
                ThingPage(
                    ("inventory.manage_suppliers",),
                    lambda supplier: reverse("inventory:supplier_detail", args=[supplier.pk]),
                ),
            ),
            line=lambda supplier: findable.in_one_line(
                _kind_of_supplier(supplier), supplier.contact, supplier.city, supplier.phone
            ),
        )
    )


def lot_url(lot: Lot) -> str:
    named = [lot.code, lot.what] if lot.product else [lot.code]
    return reverse("inventory:lot_detail", args=named)


def _what_the_lot_is(lot: Lot) -> str:
    came = ""
    if lot.supplier and lot.supplier_lot:
        came = _("lot %(code)s of %(supplier)s") % {
            "code": lot.supplier_lot,
            "supplier": lot.supplier,
        }
    what = lot.product.name if lot.product else lot.floral_source
    return findable.in_one_line(str(lot.get_kind_display()), what, came)


def _what_the_place_is(place: Place) -> str:
    code = place.code if place.code != place.name else ""
    use = "" if place.is_active else _("out of use")
    return findable.in_one_line(str(place.get_kind_display()), code, use)


def _kind_of_supplier(supplier: Supplier) -> str:
    return str(supplier.get_kind_display())
