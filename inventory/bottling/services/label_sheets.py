"""Layouts of label sheets and rolls: added and changed."""

from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import LabelSheet
from inventory.bottling.rules import label_sheets as rules
from inventory.shared import checks, codes
from inventory.shared.errors import Problems


@transaction.atomic
def save(
    *,
    name: str,
    paper: str,
    label_width_mm: Decimal,
    label_height_mm: Decimal,
    columns: int = 1,
    rows: int = 1,
    margin_left_mm: Decimal = Decimal(0),
    margin_top_mm: Decimal = Decimal(0),
    gap_x_mm: Decimal = Decimal(0),
    gap_y_mm: Decimal = Decimal(0),
    offset_x_mm: Decimal = Decimal(0),
    offset_y_mm: Decimal = Decimal(0),
    corner_radius_mm: Decimal = Decimal(0),
    is_active: bool = True,
    sheet: LabelSheet | None = None,
) -> LabelSheet:
    """Add a layout, or change `sheet`; its short name, which is in its address, stays as it was.

    Raises `BadValue` and `SeveralProblems` when another layout has the name, for a measure that
    can't be, and when the labels do not fit on the paper.
    """
    name = " ".join(name.split())
    problems = Problems()
    rivals = LabelSheet.objects.exclude(pk=sheet.pk) if sheet else LabelSheet.objects.all()
    if not name:
        problems.add("name", _("Enter a name, for example “2 × 4 in, 10 on Letter”."))
    elif rivals.filter(name__iexact=name).exists():
        problems.add(
            "name",
            _("There is a layout called %(name)s already. Choose another name.") % {"name": name},
        )
    fields = {
        "name": name,
        "paper": paper,
        "label_width_mm": label_width_mm,
        "label_height_mm": label_height_mm,
        "columns": columns,
        "rows": rows,
        "margin_left_mm": margin_left_mm,
        "margin_top_mm": margin_top_mm,
        "gap_x_mm": gap_x_mm,
        "gap_y_mm": gap_y_mm,
        "offset_x_mm": offset_x_mm,
        "offset_y_mm": offset_y_mm,
        "corner_radius_mm": corner_radius_mm,
        "is_active": is_active,
    }
    if paper not in LabelSheet.Paper.values:
        problems.add("paper", _("Choose Letter, A4 or roll."))
    else:
        rules.check(problems, LabelSheet(**fields))
    problems.raise_any()
    if sheet is None:
        sheet = LabelSheet(code=codes.free(LabelSheet, name, "sheet"))
    for field, value in fields.items():
        setattr(sheet, field, value)
    checks.save_checked(sheet)
    return sheet
