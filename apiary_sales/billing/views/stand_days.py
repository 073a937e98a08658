"""Days at a stand: open, cash in and out, count and close, open again; and what was taken."""

from typing import Any, NamedTuple

from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing import drawers, papers_stand
from apiary_sales.billing.forms.payments import UndoReasonForm
from apiary_sales.billing.forms.stand_days import (
    CloseDayForm,
    OpenDayForm,
    StandCashForm,
    TakingsForm,
)
from apiary_sales.billing.models import StandCash, StandDay, StandDayClose
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.queries import stand_days as queries
from apiary_sales.billing.queries import stand_takings
from apiary_sales.billing.services import stand_days
from inventory.shared import documents, words
from inventory.shared.csv_files import csv_response
from inventory.shared.errors import HouseError
from inventory.shared.paging import by_days
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock import own_places

SELL = "orders.sell_at_stand"
SEE = "billing.view_money"


class Preview(NamedTuple):
    """What a count would close the day with; `state` tells whether it was shown as it is."""

    counted_cents: int
    expected_cents: int

    @property
    def difference_cents(self) -> int:
        return self.counted_cents - self.expected_cents

    @property
    def state(self) -> str:
        return f"{self.counted_cents}:{self.expected_cents}"

    @property
    def said(self) -> str:
        return stand_days.difference_text(self.difference_cents) if self.difference_cents else ""


@require_GET
@permission_required(SELL, raise_exception=True)
def stand_day_list(request: HttpRequest) -> HttpResponse:
    """Show the days of the places at which this person may sell, and what can be opened today."""
    places = list(stand_queries.places(person_of(request)))
    days = by_days(request, queries.stand_days(places), "day")
    context = {
        "days": days,
        "page_obj": days.page,
        "unopened": queries.unopened(places, timezone.localdate()),
    }
    return render(request, "billing/stand_days/list.html", context)


def day_of(request: HttpRequest, pk: int) -> StandDay:
    found = StandDay.objects.select_related("place", "opened_by").prefetch_related(
        "closes__recorded_by", "closes__undone_by"
    )
    stand_day = get_object_or_404(found, pk=pk)
    if not own_places.is_own(person_of(request), stand_day.place):
        raise PermissionDenied
    return stand_day


@require_GET
@permission_required(SELL, raise_exception=True)
def stand_day(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one day. What should be in the drawer is told only once it was counted."""
    shown = queries.shown(day_of(request, pk))
    closing = shown.closing
    context = {
        "shown": shown,
        "may_open_again": closing is not None and closing.may_be_undone_by(person_of(request)),
    }
    return render(request, "billing/stand_days/day.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def stand_day_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    day = day_of(request, pk)
    if day.closing is None:
        raise Http404
    return documents.serve(
        request,
        name=_("Stand day %(day)s.pdf") % {"day": day},
        template_name="documents/stand_day.html",
        context=papers_stand.stand_day_context(day),
    )


class OpenDayView(ActView):
    """Put a float into a drawer."""

    permission_required = SELL
    form_class = OpenDayForm
    template_name = "billing/stand_days/open.html"

    def prepare(self) -> None:
        self.places = stand_queries.places(person_of(self.request))

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "places": self.places}

    def get_initial(self) -> dict[str, Any]:
        asked = self.request.GET.get("place")
        there = queries.unopened(self.places, timezone.localdate()) or self.places
        place = next((each for each in there if each.code == asked), there[0] if there else None)
        if place is None:
            return {}
        return {"place": place.code, "amount": queries.last_float_cents(place)}

    def act(self, data: dict[str, Any]) -> StandDay:
        return stand_days.open_day(
            place=data["place"],
            float_cents=self.form.sum_entered(),
            float_pieces=self.form.pieces(),
            day=data["day"],
            note=data["note"],
            opened_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: StandDay) -> str:
        return _("%(day)s is open with a float of %(cents)s.") % {
            "day": made,
            "cents": words.money(made.float_cents),
        }

    def next_url(self, made: StandDay) -> str:
        return made.get_absolute_url()

    repeat_url = next_url


class OfDayView(ActView):
    """An act on one day of a stand."""

    permission_required = SELL

    def prepare(self) -> None:
        self.day = day_of(self.request, self.kwargs["pk"])

    def next_url(self, made: Any) -> str:
        return self.day.get_absolute_url()

    def repeat_url(self, made: Any) -> str:
        return self.day.get_absolute_url()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            day=self.day, back_url=self.day.get_absolute_url(), **kwargs
        )


class StandCashView(OfDayView):
    """Put cash into the drawer, or take it out."""

    form_class = StandCashForm
    template_name = "billing/stand_days/cash.html"

    def act(self, data: dict[str, Any]) -> StandCash:
        return stand_days.move_cash(
            stand_day=self.day,
            kind=data["kind"],
            cents=data["amount"],
            text=data["text"],
            payee=data["payee"],
            category=data["category"],
            moved_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: StandCash) -> str:
        return _("%(cents)s recorded: %(what)s.") % {
            "cents": words.money(made.cents),
            "what": made.get_kind_display(),
        }


class CloseDayView(OfDayView):
    """Count the drawer. The first answer says what is expected; the same count again closes."""

    form_class = CloseDayForm
    template_name = "billing/stand_days/close.html"
    preview: Preview | None = None

    def form_valid(self, form: Any) -> HttpResponse:
        try:
            counted_cents = stand_days.count(
                counted_cents=form.sum_entered(), counted_pieces=form.pieces()
            )
        except HouseError as error:
            form.refuse(error)
            return self.form_invalid(form)
        self.preview = Preview(counted_cents, drawers.drawer_of(self.day).expected_cents)
        if form.cleaned_data["shown"] != self.preview.state and self.day.closing is None:
            return self.render_to_response(self.get_context_data(form=form))
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> StandDayClose:
        return stand_days.close(
            stand_day=self.day,
            counted_cents=self.form.sum_entered(),
            counted_pieces=self.form.pieces(),
            note=data["note"],
            closed_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: StandDayClose) -> str:
        if not made.difference_cents:
            return _("%(day)s is closed: the drawer has what it should.") % {"day": self.day}
        return _("%(day)s is closed; the difference is %(difference)s.") % {
            "day": self.day,
            "difference": words.money(made.difference_cents),
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(preview=self.preview, **kwargs)
        if self.preview and self.preview.difference_cents:
            context["form"].fields["note"].required = True
        return context


class OpenStandDayAgainView(OfDayView):
    """Undo the close of a day, with a reason."""

    form_class = UndoReasonForm
    template_name = "billing/stand_days/undo.html"

    def prepare(self) -> None:
        super().prepare()
        if self.day.closing is None:
            raise Http404
        self.closing = self.day.closing
        if not self.closing.may_be_undone_by(person_of(self.request)):
            raise PermissionDenied

    def act(self, data: dict[str, Any]) -> StandDayClose:
        return stand_days.undo_close(
            stand_day_close=self.closing,
            undone_by=person_of(self.request),
            reason=data["reason"],
        )

    def done_message(self, made: StandDayClose) -> str:
        return _("%(day)s is open again. Count the drawer once more.") % {"day": self.day}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        heading = _("Open again: %(day)s") % {"day": self.day}
        return super().get_context_data(heading=heading, button=_("Open it again"), **kwargs)


class UndoStandCashView(OfDayView):
    """Undo cash put in or taken out, with a reason."""

    form_class = UndoReasonForm
    template_name = "billing/stand_days/undo.html"

    def prepare(self) -> None:
        self.cash = get_object_or_404(StandCash, pk=self.kwargs["pk"])
        self.day = day_of(self.request, self.cash.stand_day_id)

    def act(self, data: dict[str, Any]) -> StandCash:
        return stand_days.undo_cash(
            stand_cash=self.cash, undone_by=person_of(self.request), reason=data["reason"]
        )

    def done_message(self, made: StandCash) -> str:
        return _("It is undone.")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        heading = _("Undo %(cents)s, %(what)s") % {
            "cents": words.money(self.cash.cents),
            "what": self.cash.get_kind_display(),
        }
        return super().get_context_data(heading=heading, button=_("Undo it"), **kwargs)


# ------------------------------------------------------------------ takings


def takings_form(request: HttpRequest, **shown: Any) -> TakingsForm:
    """Return the form of who is signed in, with what was asked for or with what is shown."""
    person = person_of(request)
    people = stand_takings.sellers() if person.has_perm(SEE) else None
    typed: dict[str, Any] = {"initial": shown} if shown else {"data": request.GET}
    return TakingsForm(**typed, places=stand_queries.places(person), people=people)


def asked_takings(request: HttpRequest, form: TakingsForm) -> stand_takings.TakingsAsked:
    """Return what is asked for: who may not see the money of the house sees what she sold."""
    person = person_of(request)
    since, until = form.days()
    return stand_takings.TakingsAsked(
        since=since,
        until=until,
        place=form.chosen("place"),
        person=form.chosen("person") if person.has_perm(SEE) else person,
    )


@require_GET
@permission_required(SELL, raise_exception=True)
def takings_page(request: HttpRequest) -> HttpResponse:
    asked = asked_takings(request, takings_form(request))
    context = {
        **papers_stand.takings_context(asked),
        "form": takings_form(request, **vars(asked)),
        "query": request.GET.urlencode(),
        "sees_all": person_of(request).has_perm(SEE),
    }
    return render(request, "billing/stand_days/takings.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def takings_pdf(request: HttpRequest) -> HttpResponse:
    asked = asked_takings(request, takings_form(request))
    return documents.serve(
        request,
        name=_("Takings %(since)s %(until)s.pdf")
        % {"since": asked.since.isoformat(), "until": asked.until.isoformat()},
        template_name="documents/stand_takings.html",
        context=papers_stand.takings_context(asked),
    )


@require_GET
@permission_required(SELL, raise_exception=True)
def takings_csv(request: HttpRequest) -> HttpResponse:
    """Answer with all tables of the takings, one below the other, each row with its table."""
    asked = asked_takings(request, takings_form(request))
    name = _("Takings %(since)s %(until)s.csv") % {
        "since": asked.since.isoformat(),
        "until": asked.until.isoformat(),
    }
    return csv_response(name, stand_takings.csv_rows(asked))
