"""The book itself: every posting and its lines."""

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from inventory.shared.people import Person, person_of
from inventory.stock import rules, seen
from inventory.stock.forms import postings as forms
from inventory.stock.models import Posting
from inventory.stock.queries import honey as queries
from inventory.stock.queries import shortages

POSTINGS_A_PAGE = 50


def posting_list(request: HttpRequest) -> HttpResponse:
    form = forms.PostingFilterForm(request.GET, person=person_of(request))
    wanted = form.cleaned_data if form.is_valid() else {}
    found = seen.postings(person_of(request), queries.postings(**wanted))
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
    posting = _posting(pk, person_of(request))
    context = {
        "posting": posting,
        "row": queries.PostingRow.of(posting),
        "shortages": shortages.of_posting(posting.pk),
        "caused": queries.caused_by(posting),
        "received": queries.received_lot(posting),
        "can_undo": request.user.has_perm("inventory.reverse_posting") and rules.can_undo(posting),
    }
    return render(request, "inventory/honey/posting_detail.html", context)


def _posting(pk: int, person: Person) -> Posting:
    posting = seen.postings(person, queries.postings()).filter(pk=pk).first()
    if posting is None:
        raise Http404(_("This entry does not exist."))
    return posting
