"""The page of the bottling plan: figures in, the best plan out, draft runs on request."""

import re
import time
from dataclasses import dataclass
from datetime import date

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.generic import TemplateView

from apiary_sales.planning import answers, inputs, past_sales, programme, services
from apiary_sales.planning.answers import Question, Reason, Shown
from apiary_sales.planning.demand import History, Outlook
from apiary_sales.planning.forms import MONTHS_USUAL, DraftRunsForm, OutlookForm, PlanForm
from apiary_sales.planning.services import DraftRun
from inventory.bottling.models import ContainerSize
from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError
from inventory.stock.models import Place

# Nobody waits longer for the page than this, and each search gets a moment at least.
PAGE_SECONDS = 6.0
LEAST_SECONDS = 0.5
# A run as the page writes it: vessel-size-pieces, each short enough for the books.
RUN_WRITTEN = re.compile(r"(\d{1,18})-(\d{1,18})-(\d{1,9})", re.ASCII)


@dataclass(frozen=True)
class Desk:
    """What lies on the desk before a plan is worked out: the figures, and where they come from."""

    on: date
    outlook_form: OutlookForm
    form: PlanForm
    history: History

    @classmethod
    def laid_out(cls, typed) -> "Desk":
        """Read the books, and lay what was typed (a query) over them."""
        on = timezone.localdate()
        usual = {"months": MONTHS_USUAL, "outlook": Outlook.USUAL.value}
        outlook_form = OutlookForm({**usual, **typed})
        if not outlook_form.is_valid():
            outlook_form = OutlookForm(usual)
            outlook_form.is_valid()
        chosen = outlook_form.cleaned_data
        history = past_sales.history(on=on, months=chosen["months"])
        books = inputs.read(on)
        offers = books.offers(history)
        by_the_books = PlanForm.data_of(books, offers, history, chosen["outlook"])
        form = PlanForm({**by_the_books, **typed}, books=books, offers=offers, history=history)
        return cls(on, outlook_form, form, history)

    @property
    def question(self) -> Question | None:
        """The figures made into a programme, or None while one of them is wrong."""
        if not self.form.is_valid():
            return None
        return Question.of(self.form.books, self.form.figures(), self.form.offers)

    @property
    def last_pieces(self) -> dict[str, int]:
        """Pieces of each offer in the newest period of past sales."""
        if not self.history.periods:
            return {}
        return {
            offer.key: self.history.of(offer.container.pk, offer.channel).pieces[0]
            for offer in self.form.offers
        }


@dataclass(frozen=True)
class Found:
    """A plan that was worked out, what it is compared with, and why it is as it is."""

    best: Shown
    all_drums: Shown
    as_before: Shown | None
    reasons: list[Reason]

    @classmethod
    def of(cls, question: Question, last_pieces: dict[str, int]) -> "Found":
        deadline = time.monotonic() + PAGE_SECONDS

        def left() -> float:
            return min(max(deadline - time.monotonic(), LEAST_SECONDS), answers.SECONDS)

        answer = question.best(left())
        as_before = question.as_before(last_pieces, left()) if any(last_pieces.values()) else None
        return cls(
            best=question.shown(answer),
            all_drums=question.all_drums(),
            as_before=as_before,
            reasons=question.reasons(programme.limits(answer, seconds=left())),
        )

    @property
    def binding(self) -> list[Reason]:
        return [reason for reason in self.reasons if reason.binds and not reason.is_served]

    @property
    def served(self) -> list[Reason]:
        return [reason for reason in self.reasons if reason.is_served]

    @property
    def slack(self) -> list[Reason]:
        return [reason for reason in self.reasons if not (reason.binds or reason.is_served)]

    @property
    def more_than_drums_cents(self) -> int:
        return self.best.statement.total_cents - self.all_drums.statement.total_cents

    @property
    def more_than_before_cents(self) -> int | None:
        if self.as_before is None:
            return None
        return self.best.statement.total_cents - self.as_before.statement.total_cents

    @property
    def might_earn_more_cents(self) -> int:
        """By how much a better plan could beat this one at most, when it is not proven."""
        answer = self.best.answer
        return round(answer.cents_at_most - answer.plan.cents)


class PlanView(PermissionRequiredMixin, TemplateView):
    """Work out the plan from the address (GET), and make its runs (POST)."""

    permission_required = "pricing.manage_prices"
    raise_exception = True
    template_name = "planning/plan.html"

    def get_context_data(self, **kwargs):
        desk = Desk.laid_out(self.request.GET.dict())
        question = desk.question
        obstacle = question.obstacle() if question else ""
        found = None
        if question and not obstacle:
            found = Found.of(question, desk.last_pieces)
        may_plan = self.request.user.has_perm("inventory.run_bottling")
        return super().get_context_data(
            desk=desk,
            form=desk.form,
            outlook_form=desk.outlook_form,
            obstacle=obstacle,
            notices=question.notices() if question else [],
            found=found,
            has_past=any(desk.last_pieces.values()),
            coming=past_sales.period_from(desk.on, desk.outlook_form.cleaned_data["months"]),
            may_plan=may_plan,
            usual_minutes_per_run=inputs.MINUTES_PER_RUN,
            **{"runs_form": DraftRunsForm(), **kwargs},
        )

    def post(self, request: HttpRequest) -> HttpResponse:
        """Make the runs that the page showed, as they were shown."""
        if not request.user.has_perm("inventory.run_bottling"):
            return self.handle_no_permission()
        form = DraftRunsForm(request.POST)
        if not form.is_valid():
            return self._again(form)
        data = form.cleaned_data
        try:
            made = services.make_draft_runs(
                drafts=_drafts(request.POST.getlist("run")),
                target=data["target"],
                planned_for=data["planned_for"],
                planned_by=request.user,
                key=data["key"],
                newest_seen=data["newest_seen"] or 0,
            )
        except AlreadyRecorded:
            messages.info(request, _("These runs were made already."))
        except HouseError as error:
            form.refuse(error)
            return self._again(form)
        else:
            messages.success(
                request,
                ngettext("%(count)s run is planned.", "%(count)s runs are planned.", len(made))
                % {"count": len(made)},
            )
        return HttpResponseRedirect(reverse("inventory:bottling"))

    def _again(self, form: DraftRunsForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(runs_form=form), status=422)


def _drafts(shown: list[str]) -> list[DraftRun]:
    """Read the runs back that the page carried along, each as vessel-size-pieces.

    Raises `BadValue` when they are not what the page wrote.
    """
    written = [RUN_WRITTEN.fullmatch(run) for run in shown]
    rows = [tuple(map(int, run.groups())) for run in written if run]
    places = Place.objects.in_bulk([place for place, _size, _pieces in rows])
    sizes = ContainerSize.objects.in_bulk([size for _place, size, _pieces in rows])
    are_known = all(place in places and size in sizes for place, size, _pieces in rows)
    if not (all(written) and are_known):
        raise BadValue(_("The runs of the plan can't be read. Work out the plan again."))
    return [DraftRun(places[place], sizes[size], pieces) for place, size, pieces in rows]
