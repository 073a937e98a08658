"""The pages of the opening day: honey, jars and parts."""

from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.accounts.services import set_up
from apiary_sales.web.first_hour import pasted, steps
from apiary_sales.web.first_hour.forms.opening import (
    JarsRow,
    PartsPlaceForm,
    PartStockRow,
    UsualHoneyForm,
    UsualJarsForm,
    VesselRow,
)
from apiary_sales.web.first_hour.forms.rows import Rows, rows_in
from apiary_sales.web.first_hour.views.step import Asked, StepView
from inventory.bottling.forms_of_honey import stores
from inventory.bottling.models import PackagingPart, Product
from inventory.bottling.services import opening_stock, parts
from inventory.shared import words
from inventory.shared.errors import BadValue
from inventory.shared.forms.fields import DayField
from inventory.shared.people import person_of
from inventory.stock import dip_weights
from inventory.stock.models import Balance, Lot, Place, ProductionSettings
from inventory.stock.services import honey

JARS_ASKED = 6
JARS_SHOWN = 50
JAR_COLUMNS = ("lot_code", "product", "pieces", "place", "packed_on")


class HoneyView(StepView):
    slug = "honey"
    template_name = "web/set_up/honey.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        day = steps.begins_on()
        vessels = Place.objects.filter(kind__in=Place.VESSELS, is_active=True)
        full = Balance.objects.filter(quantity__gt=0, place__in=vessels).values("place")
        empty = vessels.exclude(pk__in=full).select_related("shape").order_by("code")
        tanks = [{"title": place.name, "subject": place} for place in empty if place.kind != "drum"]
        drums = [{"title": place.code, "subject": place} for place in empty if place.kind == "drum"]
        return Asked(
            UsualHoneyForm(data, initial={"begins_on": day, "season": day.year}),
            {
                "tanks": Rows(VesselRow, data, prefix="tank", proposed=tanks, with_depth=True),
                "drums": Rows(VesselRow, data, prefix="drum", proposed=drums),
            },
        )

    def context(self) -> dict[str, Any]:
        there = Balance.objects.filter(quantity__gt=0, place__kind__in=Place.VESSELS)
        there = there.select_related("place", "lot").order_by("place__kind", "place__code")
        return {"there": there.filter(lot__product=None)}

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        usual, count, grams = asked.form.cleaned_data, 0, 0
        with self.telling_at(asked.form):
            set_up.begin_books_on(usual["begins_on"])
        for name in ("tanks", "drums"):
            for row in asked.rows[name].filled():
                with self.telling_at(row):
                    grams += self._receive(row, usual)
                    count += 1
        return ngettext(
            "%(weight)s of honey in %(count)s vessel is entered.",
            "%(weight)s of honey in %(count)s vessels is entered.",
            count,
        ) % {"weight": words.weight(grams), "count": count}

    def _receive(self, row: Any, usual: dict[str, Any]) -> int:
        data, place = row.cleaned_data, row.subject
        moisture = data["moisture"] if data["moisture"] is not None else usual["moisture"]
        if moisture is None:
            raise BadValue(
                _("Enter the moisture here, or once for all above."), parameter="moisture_percent"
            )
        floral = data["floral"].strip() or usual["floral"].strip()
        if not floral:
            raise BadValue(
                _("Enter the floral source here, or once for all above."),
                parameter="floral_source",
            )
        grams, notes = data["weight"], [_("There on the opening day.")]
        if data.get("depth"):
            grams = self._by_dip(place, data["depth"], moisture, usual["temperature"])
            notes.append(_("By a dip of %(depth)s.") % {"depth": words.depth(data["depth"])})
        if data["is_estimated"]:
            notes.append(_("Estimated."))
        honey.receive(
            place=place,
            grams=grams,
            season=data["season"] or usual["season"],
            floral_source=floral,
            extracted_on=usual["begins_on"],
            moisture_percent=moisture,
            note=" ".join(notes),
            recorded_by=person_of(self.request),
            key=f"{self.key}-{place.pk}",
        )
        return int(grams)

    @staticmethod
    def _by_dip(place: Place, depth_mm: int, moisture: Decimal, celsius: Decimal | None) -> int:
        settings = ProductionSettings.current()
        try:
            return dip_weights.of_depth(
                place,
                depth_mm,
                moisture_percent=moisture,
                celsius=settings.honey_house_celsius if celsius is None else celsius,
                mark_mm=settings.stick_mark_mm,
            ).grams
        except ValueError as error:
            raise BadValue(str(error), parameter="depth_mm") from error


class JarsView(StepView):
    slug = "jars"
    template_name = "web/set_up/jars.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        products = Product.objects.of_honey().in_use().filter(item__is_weighed=False)
        choices = {
            "product": [("", "---------"), *((str(each.pk), each.name) for each in products)],
            "place": [(str(each.pk), each.name) for each in stores()],
        }
        rows = Rows(JarsRow, data, prefix="jars", blank=JARS_ASKED, choices=choices)
        form = UsualJarsForm(data, initial={"season": steps.begins_on().year, **_last_facts()})
        return Asked(form, {"jars": rows})

    def read_in(self, data: QueryDict) -> QueryDict | None:
        if "read" not in data:
            return super().read_in(data)
        products = [
            (str(each.pk), (each.name, each.code)) for each in Product.objects.of_honey().in_use()
        ]
        places = [(str(each.pk), (each.name, each.code)) for each in stores()]
        read = data.copy()
        count = rows_in(data, "jars")
        position, unread = 0, []
        for line in pasted.cells(data.get("pasted", "")):
            # The first rows that are still empty take the list.
            while read.get(f"jars-{position}-lot_code", "").strip():
                position += 1
            for name, cell in zip(JAR_COLUMNS, line, strict=False):
                value = cell
                if name == "product":
                    value = pasted.chosen(cell, products)
                    is_read = value in dict(products)
                elif name == "place":
                    value = pasted.chosen(cell, places)
                    is_read = value in dict(places)
                elif name == "packed_on":
                    value = as_day(cell)
                    is_read = is_day(value)
                else:
                    is_read = True
                if cell and not is_read:
                    unread.append(f"{line[0]}, {cell}")
                read[f"jars-{position}-{name}"] = value
            position += 1
        self.tell_not_read(unread)
        read["jars-rows"] = str(max(count, position))
        read["pasted"] = ""
        return read

    def context(self) -> dict[str, Any]:
        there = Balance.objects.filter(is_physical=True, quantity__gt=0, lot__kind=Lot.Kind.PACKED)
        shown = there.select_related("place", "lot__product").order_by("lot__code", "place__code")
        return {
            "there": shown[:JARS_SHOWN],
            "more": max(there.count() - JARS_SHOWN, 0),
            "has_sizes": Product.objects.of_honey().exists(),
            "has_stores": stores().exists(),
        }

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        usual, count, begins_on = asked.form.cleaned_data, 0, steps.begins_on()
        for position, row in enumerate(asked.rows["jars"].filled()):
            data = row.cleaned_data
            packed_on: date | None = data["packed_on"]
            season = usual["season"]
            if packed_on and packed_on.year < season:
                season = packed_on.year
            with self.telling_at(row):
                opening_stock.receive_jars(
                    product=data["product"],
                    place=data["place"],
                    pieces=data["pieces"],
                    lot_code=data["lot_code"],
                    bottled_on=packed_on or begins_on,
                    season=season,
                    floral_source=usual["floral"],
                    begins_on=begins_on,
                    note="" if packed_on else _("The day on which they were packed is not known."),
                    recorded_by=person_of(self.request),
                    key=f"{self.key}-{position}",
                )
                count += data["pieces"]
        return ngettext("%(count)s jar is entered.", "%(count)s jars are entered.", count) % {
            "count": words.number(count)
        }


def _last_facts() -> dict[str, Any]:
    """Return the floral source of the honey that was entered last, as a start."""
    lot = Lot.objects.filter(product=None).order_by("-pk").first()
    return {"floral": lot.floral_source} if lot else {}


def is_day(value: str) -> bool:
    """Tell whether the calendar of the browser shows this value; it leaves out what it can't."""
    try:
        date.fromisoformat(value)
    except ValueError:
        return False
    return True


def as_day(typed: str) -> str:
    """Return a day as the calendar of the browser takes it, or what was typed."""
    try:
        day = DayField(required=False).clean(typed)
    except ValidationError:
        return typed
    return day.isoformat() if day else ""


class StockView(StepView):
    slug = "stock"
    template_name = "web/set_up/stock.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        proposed = [
            {"title": part.name, "subject": part}
            for part in PackagingPart.objects.filter(is_active=True)
        ]
        rows = Rows(PartStockRow, data, prefix="stock", proposed=proposed)
        return Asked(PartsPlaceForm(data) if stores().exists() else None, {"stock": rows})

    def context(self) -> dict[str, Any]:
        there = Balance.objects.filter(quantity__gt=0, item__kind="part")
        return {
            "there": there.select_related("place", "item").order_by("item__name"),
            "has_stores": stores().exists(),
        }

    def save(self, asked: Asked) -> str:
        count = 0
        for row in asked.rows["stock"].filled():
            data = row.cleaned_data
            cents = (data["pieces"] * data["each"] * 100).quantize(Decimal(1), ROUND_HALF_EVEN)
            with self.telling_at(row):
                if asked.form is None:
                    raise BadValue(_("Add a shelf first, on the page of drums and shelves."))
                parts.receive(
                    part=row.subject,
                    place=asked.form.cleaned_data["place"],
                    pieces=data["pieces"],
                    cost_cents=int(cents),
                    supplier="",
                    received_on=steps.begins_on(),
                    recorded_by=person_of(self.request),
                    key=f"{self.key}-{row.subject.pk}",
                )
                count += 1
        day = date_format(steps.begins_on())
        return ngettext(
            "%(count)s part is in stock on %(day)s.", "%(count)s parts are in stock on %(day)s.",
            count,
        ) % {"count": count, "day": day}  # fmt: skip
