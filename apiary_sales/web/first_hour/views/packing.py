"""The pages about sizes and their parts."""

from decimal import Decimal
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.web.first_hour import proposals
from apiary_sales.web.first_hour.forms.packing import OwnSizeRow, PartsRow, UsualSizesForm
from apiary_sales.web.first_hour.forms.rows import Rows
from apiary_sales.web.first_hour.views.step import Asked, StepView
from inventory.bottling.models import PackagingPart, Size, SizePart
from inventory.bottling.services import parts, sizes
from inventory.bottling.services.products import PartUse
from inventory.bottling.services.sizes import UsualSize
from inventory.physics import units
from inventory.shared import conventions, words


class SizesView(StepView):
    slug = "sizes"
    template_name = "web/set_up/sizes.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        is_metric = conventions.current().is_metric
        there = {size.declared_grams for size in Size.objects.all()}
        choices = [
            (size.code, _in_words(size))
            for size in proposals.sizes_of(is_metric=is_metric)
            if units.grams_from(Decimal(size.amount), size.unit) not in there
        ]
        unit = Size.Unit.GRAM if is_metric else Size.Unit.POUND
        proposed = [{"declared_unit": unit, "pieces_per_case": 12}]
        return Asked(
            UsualSizesForm(data, choices=choices),
            {"own": Rows(OwnSizeRow, data, prefix="own", proposed=proposed, may_grow=True)},
        )

    def context(self) -> dict[str, Any]:
        return {"sizes": Size.objects.all()}

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        with self.telling_at(asked.form):
            made = sizes.add_usual_sizes(asked.form.cleaned_data["sizes"])
        for row in asked.rows["own"].filled():
            with self.telling_at(row):
                made.append(sizes.save(**row.cleaned_data))
        return ngettext(
            "Added %(count)s size. Check its capacity against your own jars.",
            "Added %(count)s sizes. Check their capacity against your own jars.",
            len(made),
        ) % {"count": len(made)}


def _in_words(size: UsualSize) -> str:
    figures = {
        "name": size.written_name,
        "amount": words.number(Decimal(size.amount)),
        "unit": Size.Unit(size.unit).label,
        "brimful": words.number(size.brimful_ml),
    }
    if f"{figures['amount']} {figures['unit']}" in size.written_name:
        return _("%(name)s, %(brimful)s ml to the brim") % figures
    return _("%(name)s: %(amount)s %(unit)s, %(brimful)s ml to the brim") % figures


class PartsView(StepView):
    slug = "parts"
    template_name = "web/set_up/parts.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        found = Size.objects.filter(is_active=True).prefetch_related("size_parts__part")
        proposed = [{"title": size.name, "subject": size, **_parts_of(size)} for size in found]
        return Asked(rows={"parts": Rows(PartsRow, data, prefix="parts", proposed=proposed)})

    def save(self, asked: Asked) -> str:
        there = {part.name.casefold(): part for part in PackagingPart.objects.all()}
        added = 0
        for row in asked.rows["parts"].filled():
            size, uses = row.subject, _others(row.subject)
            for name, kind in PartsRow.KINDS.items():
                typed = " ".join(row.cleaned_data[name].split())
                if not typed:
                    continue
                with self.telling_at(row, name=name):
                    if typed.casefold() not in there:
                        there[typed.casefold()] = parts.save(name=typed, kind=kind)
                        added += 1
                    is_case = kind == PackagingPart.Kind.CASE
                    per_pieces = size.pieces_per_case if is_case else 1
                    uses.append(PartUse(there[typed.casefold()], 1, per_pieces))
            with self.telling_at(row):
                _save_uses(size, uses)
        return ngettext("Added %(count)s part.", "Added %(count)s parts.", added) % {"count": added}


def _parts_of(size: Size) -> dict[str, str]:
    """Return the names of what a size has, or of what is usual where it has no parts yet."""
    uses: list[SizePart] = list(size.size_parts.all())
    if not uses:
        usual = proposals.parts_of(size)
        return {name: usual[kind] for name, kind in PartsRow.KINDS.items()}
    by_kind = {use.part.kind: use.part.name for use in reversed(uses)}
    return {name: by_kind.get(kind, "") for name, kind in PartsRow.KINDS.items()}


def _others(size: Size) -> list[PartUse]:
    """Return the parts of a size that the table has no column for; they stay."""
    return [
        PartUse(use.part, use.quantity, use.per_pieces)
        for use in size.size_parts.all()
        if use.part.kind not in PartsRow.KINDS.values()
    ]


def _save_uses(size: Size, uses: list[PartUse]) -> None:
    product = size.standard_product
    sizes.save(
        size=size,
        name=size.name,
        declared_amount=size.declared_amount,
        declared_unit=size.declared_unit,
        brimful_ml=size.brimful_ml,
        tare_grams=size.tare_grams,
        pieces_per_case=size.pieces_per_case,
        gtin=product.gtin,
        best_by_months=size.best_by_months,
        low_stock_pieces=product.low_stock_pieces,
        parts=uses,
    )
