"""Undoing a posting: the one act on the books that a bottling run has to be told of."""

from typing import Any

from django.http import Http404
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.bottling.services import reversals
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock import rules
from inventory.stock.forms import postings as forms
from inventory.stock.models import Posting
from inventory.stock.queries import honey as queries


class PostingUndoView(ActView):
    """Ask before undoing a posting, and undo it by a reversing one."""

    permission_required = "inventory.reverse_posting"
    form_class = forms.UndoForm
    template_name = "inventory/honey/posting_reverse.html"

    def prepare(self) -> None:
        self.posting = _posting(self.kwargs["pk"])

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(
            posting=self.posting,
            row=queries.PostingRow.of(self.posting),
            can_undo=rules.can_undo(self.posting),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> Posting:
        # A posting of its own: a refused undo must leave no trace on the one that is shown.
        return reversals.reverse(
            posting=_posting(self.posting.pk),
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        return _("Undone: %(kind)s of %(day)s.") % {
            "kind": self.posting.get_kind_display(),
            "day": f"{self.posting.occurred_at:%Y-%m-%d}",
        }

    def next_url(self, made: Posting) -> str:
        return reverse("inventory:posting_detail", args=[self.posting.pk])

    def repeat_url(self, made: Posting) -> str:
        return self.next_url(made)


def _posting(pk: int) -> Posting:
    posting = queries.posting(pk)
    if posting is None:
        raise Http404(_("This entry does not exist."))
    return posting
