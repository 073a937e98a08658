"""The book itself: every posting, its lines, and undoing it."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.forms import honey as forms
from inventory.models import Posting
from inventory.queries import honey as queries
from inventory.services import reversals
from inventory.views.acts import ActView

POSTINGS_A_PAGE = 50


def posting_list(request: HttpRequest) -> HttpResponse:
    form = forms.PostingFilterForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    found = queries.postings(**wanted)
    page = Paginator(found, POSTINGS_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "inventory/honey/posting_list.html",
        {
            "form": form,
            "page": page,
            "rows": [queries.PostingRow.of(posting) for posting in page],
            "is_filtered": any(wanted.values()),
        },
    )


def posting_detail(request: HttpRequest, pk: int) -> HttpResponse:
    posting = _posting(pk)
    context = {
        "posting": posting,
        "row": queries.PostingRow.of(posting),
        "can_undo": request.user.has_perm("inventory.reverse_posting") and _can_undo(posting),
    }
    return render(request, "inventory/honey/posting_detail.html", context)


class Undo(ActView):
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
            can_undo=_can_undo(self.posting),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> Posting:
        # A posting of its own: a refused undo must leave no trace on the one that is shown.
        return reversals.reverse(
            posting=_posting(self.posting.pk),
            note=data["note"],
            recorded_by=self.request.user,
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


def _can_undo(posting: Posting) -> bool:
    return posting.kind not in reversals.NOT_FROM_HERE and not hasattr(posting, "reversed_by")


def _posting(pk: int) -> Posting:
    posting = queries.posting(pk)
    if posting is None:
        raise Http404(_("There is no such posting."))
    return posting
