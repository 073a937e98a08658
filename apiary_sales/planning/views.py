"""The page of the bottling plan: figures in, the best plan out, draft runs on request."""

import time
from dataclasses import dataclass
from decimal import Decimal
from math import ceil
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST
from django.views.generic import TemplateView

from apiary_sales.planning import long_search, programme, sentences, services
from apiary_sales.planning.asked import PlanForms
from apiary_sales.planning.forms import DraftRunsForm, FiguresForm
from apiary_sales.planning.programme import Answer
from apiary_sales.planning.rules import question as questions
from apiary_sales.planning.rules import statement as statements
from apiary_sales.planning.rules.demand import period_from
from apiary_sales.planning.rules.figures import MINUTES_PER_RUN
from apiary_sales.planning.rules.question import Question
from apiary_sales.planning.rules.statement import PlanOutcome
from apiary_sales.planning.sentences import Reason
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.models import LongWork
from inventory.shared.people import person_of
from inventory.shared.row_keys import row_key
from inventory.shared.services import sent_forms

# Nobody waits longer for the page than this, and each search gets a moment at least.
PAGE_SECONDS = 6.0
LEAST_SECONDS = 0.5


@dataclass(frozen=True)
class PlanComparison:
    """The best plan, what it is compared with, and why it is as it is."""

    best: PlanOutcome
    all_drums: PlanOutcome
    as_before: PlanOutcome | None
    reasons: list[Reason]

    @classmethod
    def of(cls, question: Question, kept: Answer | None = None) -> "PlanComparison":
        """Compare the best plan: the one that a long search kept, or the best found at once."""
        deadline = time.monotonic() + PAGE_SECONDS

        def left() -> float:
            return min(max(deadline - time.monotonic(), LEAST_SECONDS), questions.SECONDS)

        best = kept or question.best(left())
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
    def less_than_before_cents(self) -> int | None:
        """The same turned round: a run of the least pieces may be more than was sold before."""
        more = self.more_than_before_cents
        return None if more is None else -more

    @property
    def might_earn_more_cents(self) -> int:
        """By how much a better plan could beat this one at most, when it is not proven."""
        answer = self.best.answer
        return round(answer.cents_at_most - answer.plan.cents)

    @property
    def might_earn_more_percent(self) -> Decimal | None:
        """The same as a part of what the plan earns, in percent, rounded up to a hundredth."""
        answer = self.best.answer
        if answer.plan.cents <= 0:
            return None
        hundredths = ceil(10_000 * (answer.cents_at_most - answer.plan.cents) / answer.plan.cents)
        return Decimal(hundredths) / 100


class PlanView(PermissionRequiredMixin, TemplateView):
    """Work out the plan from the address (GET), and make its runs (POST)."""

    permission_required = "pricing.manage_prices"
    raise_exception = True
    template_name = "planning/plan.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        forms = PlanForms.filled(self.request.GET.dict())
        question = forms.question
        obstacle = sentences.obstacle(question) if question else ""
        kept = self._kept(question) if question else None
        found = PlanComparison.of(question, kept) if question and not obstacle else None
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
            is_kept_outdated="kept" in self.request.GET and question is not None and kept is None,
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
        next_url = reverse("inventory:bottling")
        try:
            with transaction.atomic():
                made = services.make_draft_runs(
                    drafts=data["drafts"],
                    target=data["target"],
                    planned_for=data["planned_for"],
                    planned_by=person_of(request),
                    key=data["key"],
                    newest_seen=data["newest_seen"] or 0,
                    moisture_is_right=data["moisture_is_right"],
                )
                sent_forms.keep(
                    person=person_of(request),
                    key=data["key"],
                    address=request.path_info,
                    next_url=next_url,
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
        return HttpResponseRedirect(next_url)

    def _kept(self, question: Question) -> Answer | None:
        """Return what a long search of this person found for the same figures and books."""
        found = LongWork.objects.filter(
            pk=row_key(self.request.GET.get("kept")),
            kind=long_search.KIND,
            started_by_id=self.request.user.pk,
        )
        work = found.first()
        return long_search.read(work, question.programme) if work else None

    def _again(self, form: DraftRunsForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(runs_form=form), status=422)


@require_POST
@permission_required("pricing.manage_prices", raise_exception=True)
def search_long(request: HttpRequest) -> HttpResponse:
    """Begin a long search for the figures in the address."""
    work = long_search.begin(query=request.GET.dict(), started_by=person_of(request))
    return redirect("inventory:long_work", work.pk)


def _ticked(form: FiguresForm) -> dict[str, Any]:
    """Return what the figures confirm, for the form that makes the runs."""
    return {"moisture_is_right": form.cleaned_data.get("moisture_is_right", False)}
