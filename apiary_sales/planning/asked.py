"""What a person asks of the plan: the forms as they are in an address, filled from the books."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils import timezone

from apiary_sales.planning.forms import MONTHS_USUAL, FiguresForm, OutlookForm
from apiary_sales.planning.queries import books as book_queries
from apiary_sales.planning.rules.books import Books
from apiary_sales.planning.rules.demand import Outlook
from apiary_sales.planning.rules.question import Question


@dataclass(frozen=True)
class PlanForms:
    """The forms with the figures of a plan: as typed, or else as the books have them."""

    # As typed, right or wrong; where it is wrong, `outlook_form` is the usual one.
    typed_outlook: OutlookForm
    outlook_form: OutlookForm
    form: FiguresForm

    @classmethod
    def filled(cls, typed: Mapping[str, str]) -> "PlanForms":
        """Read the books, and fill the forms from them and from what was typed (a query)."""
        usual = {"months": MONTHS_USUAL, "outlook": Outlook.USUAL.value}
        typed_outlook = outlook_form = OutlookForm({**usual, **typed})
        if not outlook_form.is_valid():
            outlook_form = OutlookForm(usual)
            outlook_form.is_valid()
        chosen = outlook_form.cleaned_data
        books = book_queries.read(timezone.localdate(), months=chosen["months"])
        by_the_books = FiguresForm.data_of(books, chosen["outlook"])
        form = FiguresForm({**by_the_books, **typed}, books=books)
        return cls(typed_outlook, outlook_form, form)

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
