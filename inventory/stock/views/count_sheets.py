"""A count of everything: its sheets, what is entered on them, and the act that closes one."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.shared import documents, words
from inventory.shared.forms.acts import ActForm
from inventory.shared.paging import by_days
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock import own_places, papers
from inventory.stock.forms import counting as forms
from inventory.stock.models import CountLine, CountSheet, Place
from inventory.stock.queries import count_sheets as queries
from inventory.stock.services import count_sheets

ENTER = "inventory.enter_counts"
BEYOND_MADE = "inventory.count_beyond_made"


def sheet_of(number: str) -> CountSheet:
    sheets = CountSheet.objects.select_related("opened_by", "closed_by", "cancelled_by", "place")
    return get_object_or_404(sheets, number=number)


def open_to(request: HttpRequest, sheet: CountSheet) -> CountSheet:
    """Return the sheet; refuse that of a place at which the person may not act."""
    if sheet.place is not None and not own_places.is_own(person_of(request), sheet.place):
        raise PermissionDenied
    return sheet


@permission_required(ENTER, raise_exception=True)
def sheet_list(request: HttpRequest) -> HttpResponse:
    days = by_days(request, queries.sheets(person_of(request)), "opened_at__date")
    context = {"days": days, "sheets": days.page, "page": days.page}
    return render(request, "inventory/counts/list.html", context)


@permission_required(ENTER, raise_exception=True)
def sheet_detail(request: HttpRequest, number: str) -> HttpResponse:
    sheet = open_to(request, sheet_of(number))
    return render(
        request,
        "inventory/counts/sheet.html",
        {
            "contents": queries.sheet_view(sheet, person_of(request)),
            "sheet": sheet,
            "may_close": own_places.may_book_count(person_of(request), sheet.place),
            "postings": queries.postings(sheet),
        },
    )


@permission_required(ENTER, raise_exception=True)
def sheet_pdf(request: HttpRequest, number: str) -> HttpResponse:
    sheet = open_to(request, sheet_of(number))
    return documents.serve(
        request,
        name=f"count-{sheet.number}.pdf",
        template_name=papers.COUNT_SHEET,
        context=papers.count_sheet_context(sheet, person_of(request)),
    )


class SheetActView(ActView):
    """An act with one sheet, whose number is in the address."""

    permission_required = ENTER

    def prepare(self) -> None:
        self.sheet = open_to(self.request, sheet_of(self.kwargs["number"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(sheet=self.sheet, **kwargs)

    def next_url(self, made: Any) -> str:
        return reverse("inventory:count_sheet", args=[self.sheet.number])

    def repeat_url(self, made: Any) -> str:
        return self.next_url(made)


class SheetOpenView(ActView):
    """Open a sheet of everything, or of one place; who counts at the stand, of a place of hers."""

    permission_required = ENTER
    form_class = forms.SheetOpenForm
    template_name = "inventory/counts/open.html"

    def get_initial(self) -> dict[str, Any]:
        return super().get_initial() | {"place": self.request.GET.get("place")}

    def get_form_kwargs(self) -> dict[str, Any]:
        may_all = own_places.may_book_count(person_of(self.request), None)
        return super().get_form_kwargs() | {"only_own": not may_all}

    def act(self, data: dict[str, Any]) -> CountSheet:
        return count_sheets.open_sheet(**data, opened_by=person_of(self.request))

    def done_message(self, made: CountSheet) -> str:
        return _("Count %(number)s is open. Several people may enter counts at the same time.") % {
            "number": made.number
        }

    def next_url(self, made: CountSheet) -> str:
        return reverse("inventory:count_sheet", args=[made.number])

    def repeat_url(self, made: CountSheet) -> str:
        return self.next_url(made)


class PlaceCountView(SheetActView):
    """Enter what is at one place: a figure for each row of a store, or one vessel."""

    def prepare(self) -> None:
        super().prepare()
        self.place = get_object_or_404(
            Place.objects.select_related("shape"),
            code=self.kwargs["code"],
            kind__in=(*Place.FOR_GOODS, *Place.VESSELS),
        )
        if not own_places.is_own(person_of(self.request), self.place):
            raise PermissionDenied

    @cached_property
    def rows(self) -> list[queries.SheetRow]:
        return queries.rows_at(self.sheet, self.place)

    @cached_property
    def how(self) -> str:
        ways = forms.ways_to_count(self.place)
        asked = self.request.GET.get("how", "")
        return asked if asked in ways else ways[0]

    def get_form_class(self) -> type:
        return forms.VesselCountForm if self.place.is_vessel else forms.StoreCountForm

    def get_template_names(self) -> list[str]:
        name = "vessel" if self.place.is_vessel else "store"
        return [f"inventory/counts/{name}.html"]

    def get_form_kwargs(self) -> dict[str, Any]:
        if self.place.is_vessel:
            return super().get_form_kwargs() | {"vessel": self.place, "how": self.how}
        return super().get_form_kwargs() | {"rows": self.rows}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        ways = [
            {"how": how, "label": CountLine.How(how).label, "is_shown": how == self.how}
            for how in (forms.ways_to_count(self.place) if self.place.is_vessel else [])
        ]
        return super().get_context_data(place=self.place, rows=self.rows, ways=ways, **kwargs)

    def act(self, data: dict[str, Any]) -> list[CountLine]:
        who = {"counted_by": person_of(self.request), "key": data["key"]}
        if self.place.is_vessel:
            return [
                count_sheets.enter_vessel(
                    sheet=self.sheet, vessel=self.place, **self.form.figures(), **who
                )
            ]
        return count_sheets.enter(
            sheet=self.sheet,
            place=self.place,
            things=data["things"],
            counted_at=data["counted_at"],
            note=data["note"],
            **who,
        )

    def done_message(self, made: list[CountLine]) -> str:
        if self.place.is_vessel:
            figures = {"place": self.place.name, "how": made[0].get_how_display()}
            if made[0].how == CountLine.How.SEAL:
                return _("%(place)s: entered, %(how)s.") % figures
            figures["weight"] = words.weight(made[0].counted, 1)
            return _("%(place)s: %(weight)s entered, %(how)s.") % figures
        return ngettext(
            "%(place)s: %(count)s count entered.", "%(place)s: %(count)s counts entered.", len(made)
        ) % {"place": self.place.name, "count": len(made)}


class SealsView(SheetActView):
    """Tick all drums whose seal is whole: they are as full as the books say."""

    form_class = forms.SealsForm
    template_name = "inventory/counts/seals.html"

    def prepare(self) -> None:
        super().prepare()
        if not own_places.has_every(person_of(self.request)):
            raise PermissionDenied

    @cached_property
    def rows(self) -> list[queries.SheetRow]:
        return [
            row
            for row in queries.sheet_view(self.sheet).vessels
            if row.line is None and row.place.kind in count_sheets.SEALED
        ]

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"rows": self.rows}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(rows=self.rows, **kwargs)

    def act(self, data: dict[str, Any]) -> list[CountLine]:
        return count_sheets.enter_seals(
            sheet=self.sheet,
            vessels=list(data["vessels"]),
            counted_at=data["counted_at"],
            counted_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: list[CountLine]) -> str:
        return ngettext(
            "%(count)s drum entered as sealed.", "%(count)s drums entered as sealed.", len(made)
        ) % {"count": len(made)}


class SheetEndView(SheetActView):
    """An act that ends a sheet."""

    def prepare(self) -> None:
        super().prepare()
        if not own_places.may_book_count(person_of(self.request), self.sheet.place):
            raise PermissionDenied


class SheetCloseView(SheetEndView):
    """All differences beside the books, and the one act that posts them."""

    form_class = forms.SheetCloseForm
    template_name = "inventory/counts/close.html"

    @cached_property
    def closing(self) -> queries.ClosingView:
        return queries.closing_view(self.sheet)

    @property
    def may_exceed(self) -> bool:
        return self.request.user.has_perm(BEYOND_MADE)

    def get_form_kwargs(self) -> dict[str, Any]:
        asks_why = bool(self.closing.surpluses) and self.may_exceed
        return super().get_form_kwargs() | {"asks_why": asks_why}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(closing=self.closing, **kwargs)

    def act(self, data: dict[str, Any]) -> CountSheet:
        return count_sheets.close(
            sheet=self.sheet,
            reason=data["reason"],
            uncounted=data["uncounted"],
            as_of=data["as_of"],
            surplus_reason=data.get("surplus_reason", ""),
            closed_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: CountSheet) -> str:
        return _("Count %(number)s is closed, and the books match it.") % {"number": made.number}


class SheetCancelView(SheetEndView):
    form_class = ActForm
    template_name = "inventory/counts/cancel.html"

    def act(self, data: dict[str, Any]) -> CountSheet:
        return count_sheets.cancel(sheet=self.sheet, cancelled_by=person_of(self.request))

    def done_message(self, made: CountSheet) -> str:
        return _("Count %(number)s is cancelled. The books were not changed.") % {
            "number": made.number
        }


class CountNowView(ActView):
    """Count one shelf, stand or van in one act: what differs is booked, what was short is settled.

    Whoever may change the books by a count may count here, and who sells at the stand at hers.
    """

    permission_required = ENTER
    form_class = forms.CountNowForm
    template_name = "inventory/counts/now.html"

    def prepare(self) -> None:
        self.place = get_object_or_404(
            Place, code=self.kwargs["code"], kind__in=Place.FOR_GOODS, is_active=True
        )
        if not own_places.may_book_count(person_of(self.request), self.place):
            raise PermissionDenied
        self.sheet = queries.open_of(self.place)

    @cached_property
    def rows(self) -> list[queries.SheetRow]:
        return queries.rows_to_count(self.place)

    def get_form_kwargs(self) -> dict[str, Any]:
        may_exceed = self.request.user.has_perm(BEYOND_MADE)
        return super().get_form_kwargs() | {"rows": self.rows, "may_exceed": may_exceed}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            place=self.place, rows=self.rows, open_sheet=self.sheet, **kwargs
        )

    def act(self, data: dict[str, Any]) -> CountSheet:
        return count_sheets.count_now(
            place=self.place,
            things=data["things"],
            note=data["note"],
            surplus_reason=data.get("surplus_reason", ""),
            counted_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: CountSheet) -> str:
        lines = made.lines.standing()
        counted, differing = lines.count(), lines.exclude(posting=None).count()
        if not differing:
            return ngettext(
                "%(place)s: %(count)s thing counted, and the books agree.",
                "%(place)s: %(count)s things counted, and the books agree.",
                counted,
            ) % {"place": self.place.name, "count": counted}
        return ngettext(
            "%(place)s: %(differing)s of %(count)s counts differed, and the books match it now.",
            "%(place)s: %(differing)s of %(count)s counts differed, and the books match them now.",
            differing,
        ) % {"place": self.place.name, "differing": differing, "count": counted}

    def next_url(self, made: CountSheet) -> str:
        return reverse("inventory:count_sheet", args=[made.number])

    def repeat_url(self, made: CountSheet) -> str:
        return self.next_url(made)
