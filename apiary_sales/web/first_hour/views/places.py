"""The pages about tanks, drums and shelves."""

from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.web.first_hour import proposals
from apiary_sales.web.first_hour.forms.places import DrumsAlikeForm, StoreRow, TankRow
from apiary_sales.web.first_hour.forms.rows import Rows, rows_in
from apiary_sales.web.first_hour.views.step import Asked, StepView
from inventory.shared import codes
from inventory.stock.models import Place
from inventory.stock.services import places

TANKS_ASKED = 2
NUMBERS_TRIED = 100


class TanksView(StepView):
    slug = "tanks"
    template_name = "web/set_up/tanks.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        names = [_("Tank %(number)s") % {"number": number} for number in range(1, NUMBERS_TRIED)]
        free = proposals.unused(names, Place.objects.values_list("name", flat=True))
        count = TANKS_ASKED if data is None else rows_in(data, "tanks", TANKS_ASKED)
        proposed = [{"title": name, "name": name} for name in free[:count]]
        rows = Rows(TankRow, data, prefix="tanks", proposed=proposed, may_grow=True)
        return Asked(rows={"tanks": rows})

    def context(self) -> dict[str, Any]:
        tanks = Place.objects.filter(kind=Place.Kind.TANK).select_related("shape")
        return {"tanks": tanks.order_by("code")}

    def save(self, asked: Asked) -> str:
        made = []
        for row in asked.rows["tanks"].filled():
            data = row.cleaned_data
            assert isinstance(row, TankRow)
            with self.telling_at(row):
                place = places.create(
                    kind=Place.Kind.TANK,
                    code=codes.free(Place, data["name"], fallback="tank"),
                    name=data["name"],
                    shape=row.shape_typed(),
                    capacity_litres=data["capacity"],
                )
                made.append(place)
        if not made:
            return _("No tank was added.")
        names = ", ".join(place.name for place in made)
        return _("Set up: %(names)s.") % {"names": names}


class DrumsView(StepView):
    slug = "drums"
    template_name = "web/set_up/drums.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        taken = Place.objects.values_list("code", flat=True)
        first = proposals.unused([f"D-{number:03d}" for number in range(1, 1000)], taken)
        stores = Place.objects.filter(kind__in=Place.STORES)
        is_new = not stores.exists()
        proposed = [
            {"title": label, "kind": kind, "name": label, "is_wanted": is_new and is_usual}
            for kind, label, is_usual in (
                (Place.Kind.SHELF, _("Shelf"), True),
                (Place.Kind.STAND, _("Stand"), True),
                (Place.Kind.VAN, _("Van"), False),
                (Place.Kind.SHELF, _("Store room"), False),
            )
            if is_new or not stores.filter(name=label).exists()
        ]
        return Asked(
            DrumsAlikeForm(data, initial={"first_code": first[0] if first else ""}),
            {"stores": Rows(StoreRow, data, prefix="stores", proposed=proposed)},
        )

    def context(self) -> dict[str, Any]:
        return {
            "drums": Place.objects.filter(kind=Place.Kind.DRUM).order_by("code"),
            "stores": Place.objects.filter(kind__in=Place.STORES).order_by("kind", "code"),
        }

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        data, made = asked.form.cleaned_data, 0
        if data["count"]:
            with self.telling_at(asked.form):
                made += len(
                    places.create_drums(
                        first_code=data["first_code"],
                        count=data["count"],
                        tare_grams=data["tare"],
                        capacity_litres=data["capacity"],
                    )
                )
        for row in asked.rows["stores"].filled():
            with self.telling_at(row):
                places.create(
                    kind=row.cleaned_data["kind"],
                    code=codes.free(Place, row.cleaned_data["name"], fallback="shelf"),
                    name=row.cleaned_data["name"],
                )
                made += 1
        return ngettext("%(count)s place is set up.", "%(count)s places are set up.", made) % {
            "count": made
        }
