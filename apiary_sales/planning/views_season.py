"""The page of the season plan: what to do first, the months behind it, what the owner expects."""

from functools import cached_property
from typing import Any

from django.db.models import Model
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.planning import season_sentences as sentences
from apiary_sales.planning import services
from apiary_sales.planning.forms_season import SeasonOutlookForm
from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.planning.queries import season_books
from apiary_sales.planning.rules.season import SeasonQuestion, question_of
from apiary_sales.planning.season_answer import SeasonAnswer
from inventory.shared import words
from inventory.shared.people import person_of
from inventory.shared.views import ActView


class SeasonPlanView(ActView):
    """Show the plan of the season (GET), and keep what the owner expects of it (POST)."""

    permission_required = "pricing.manage_prices"
    form_class = SeasonOutlookForm
    template_name = "planning/season.html"

    @cached_property
    def question(self) -> SeasonQuestion:
        return question_of(season_books.read(timezone.localdate()))

    def edited(self) -> Model:
        return SeasonOutlook.current()

    def get_initial(self) -> dict[str, Any]:
        return SeasonOutlookForm.initial_of(SeasonOutlook.current())

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        question = self.question
        obstacle = sentences.obstacle(question)
        answer = None
        if not obstacle:
            answer, obstacle = season_answer(question)
        return super().get_context_data(
            question=question,
            obstacle=obstacle,
            answer=answer,
            answers=season_advice(answer) if answer else [],
            value=words.money(answer.value_cents) if answer else "",
            left_out=sentences.left_out(question),
            kept=question.books.outlook,
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> SeasonOutlook:
        return services.save_season_outlook(
            **self.form.figures(), changed_by=person_of(self.request)
        )

    def done_message(self, made: SeasonOutlook) -> str:
        return _("What you expect of the season is saved, and the plan is worked out again.")

    def next_url(self, made: SeasonOutlook) -> str:
        return reverse("planning:season")


def season_answer(question: SeasonQuestion) -> tuple[SeasonAnswer | None, str]:
    """Return the plan of the season, or None and why there is none."""
    try:
        return SeasonAnswer.of(question), ""
    except ArithmeticError:
        return None, _(
            "No plan was found for these figures. Check those below: a limit may be far too small."
        )


def season_advice(answer: SeasonAnswer) -> list[tuple[str, list[str]]]:
    """Return the answers in words, each with its heading, in the order in which they matter."""
    return [
        (_("Sell in drums"), sentences.drums(answer)),
        (_("Bottle"), sentences.fills(answer)),
        (_("Parts to order"), sentences.orders(answer)),
        (_("May run out"), sentences.stock_outs(answer)),
        (_("Room at harvest"), sentences.room(answer)),
        (_("What is scarce"), sentences.scarce(answer)),
    ]
