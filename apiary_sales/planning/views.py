"""The page of the bottling plan: figures in, the best plan out, draft runs on request."""

import time
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.generic import TemplateView

from apiary_sales.planning import programme, sentences, services
from apiary_sales.planning.forms import MONTHS_USUAL, DraftRunsForm, FiguresForm, OutlookForm
from apiary_sales.planning.queries import books as book_queries
from apiary_sales.planning.rules import question as questions
from apiary_sales.planning.rules import statement as statements
from apiary_sales.planning.rules.books import Books
from apiary_sales.planning.rules.demand import Outlook, period_from
from apiary_sales.planning.rules.figures import MINUTES_PER_RUN
from apiary_sales.planning.rules.question import Question
from apiary_sales.planning.rules.statement import PlanOutcome
from apiary_sales.planning.sentences import Reason
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.people import person_of

# Nobody waits longer for the page than this, and each search gets a moment at least.
PAGE_SECONDS = 6.0
LEAST_SECONDS = 0.5


@dataclass(frozen=True)
class PlanForms:
    """The forms with the figures of a plan: as typed, or else as the books have them."""

    outlook_form: OutlookForm
    form: FiguresForm

    @classmethod
    def filled(cls, typed: dict[str, str]) -> "PlanForms":
        """Read the books, and fill the forms from them and from what was typed (a query)."""
        usual = {"months": MONTHS_USUAL, "outlook": Outlook.USUAL.value}
        outlook_form = OutlookForm({**usual, **typed})
        if not outlook_form.is_valid():
            outlook_form = OutlookForm(usual)
            outlook_form.is_valid()
        chosen = outlook_form.cleaned_data
        books = book_queries.read(timezone.localdate(), months=chosen["months"])
        by_the_books = FiguresForm.data_of(books, chosen["outlook"])
        return cls(outlook_form, FiguresForm({**by_the_books, **typed}, books=books))

    @property
    def books(self) -> Books:
        return self.form.books

    @property
    def months(self) -> int:
        return int(self.outlook_form.cleaned_data["months"])

    @property
    def question(self) -> Question | None:
        """The figures made into a programme, or None while one of them is wrong."""
        if not self.form.is_valid():
            return None
        return Question.of(self.books, self.form.figures())


@dataclass(frozen=True)
class PlanComparison:
    """The best plan, what it is compared with, and why it is as it is."""

    best: PlanOutcome
    all_drums: PlanOutcome
    as_before: PlanOutcome | None
    reasons: list[Reason]

    @classmethod
    def of(cls, question: Question) -> "PlanComparison":
        deadline = time.monotonic() + PAGE_SECONDS

        def left() -> float:
            return min(max(deadline - time.monotonic(), LEAST_SECONDS), questions.SECONDS)

        best = question.best(left())
        has_past = any(question.books.sold_last.values())
        before = question.as_before(left()) if has_past else None
        limits = programme.limits_of(best, seconds=left())
        return cls(
            best=statements.outcome(question, best),
            all_drums=statements.outcome(question, question.all_in_drums()),
            as_before=statements.outcome(question, before) if before else None,
            reasons=sentences.reasons(question, limits),
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

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        forms = PlanForms.filled(self.request.GET.dict())
        question = forms.question
        obstacle = sentences.obstacle(question) if question else ""
        found = PlanComparison.of(question) if question and not obstacle else None
        may_plan = self.request.user.has_perm("inventory.run_bottling")
        return super().get_context_data(
            books=forms.books,
            form=forms.form,
            outlook_form=forms.outlook_form,
            obstacle=obstacle,
            notices=sentences.notices(question) if question else [],
            found=found,
            has_past=any(forms.books.sold_last.values()),
            coming=period_from(forms.books.on, forms.months),
            may_plan=may_plan,
            usual_minutes_per_run=MINUTES_PER_RUN,
            **{"runs_form": DraftRunsForm(initial=_ticked(forms.form)), **kwargs},
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
                drafts=data["drafts"],
                target=data["target"],
                planned_for=data["planned_for"],
                planned_by=person_of(request),
                key=data["key"],
                newest_seen=data["newest_seen"] or 0,
                moisture_is_right=data["moisture_is_right"],
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


def _ticked(form: FiguresForm) -> dict[str, Any]:
    """Return what the figures confirm, for the form that makes the runs."""
    return {"moisture_is_right": form.cleaned_data.get("moisture_is_right", False)}
