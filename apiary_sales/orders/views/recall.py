"""Recall: which lots are meant, who has them, where the rest is; and the records that are kept."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.core.paginator import Page, Paginator
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseRedirect,
    StreamingHttpResponse,
)
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders import recall_files
from apiary_sales.orders.forms.recalls import (
    RecallFinishForm,
    RecallHoldForm,
    RecallReleaseForm,
    RecallStartForm,
)
from apiary_sales.orders.models import Recall
from apiary_sales.orders.queries import recall as answers
from apiary_sales.orders.queries import recall_progress, recalled_lots, trace
from apiary_sales.orders.queries import recalls as found
from apiary_sales.orders.queries.recall import Buyers, LotAccount, RecallAnswer
from apiary_sales.orders.services import recalls
from inventory.bottling.services.holds import LotsChanged
from inventory.shared import documents
from inventory.shared.csv_files import csv_lines
from inventory.shared.paging import page_of
from inventory.shared.people import person_of
from inventory.shared.row_keys import row_key
from inventory.shared.views import ActView
from inventory.stock.models import Lot, LotHold
from inventory.stock.models.lots import LotKeys
from inventory.stock.queries import holds as hold_queries
from inventory.stock.queries.find_lots import TYPED_MAX

# Of each list the answer's first page shows so much; each can be opened in pages of its own.
ROWS_SHOWN = 20
RECORDS_SHOWN = 20
# So many lots that stay on hold are named in the message after a release.
LEFT_NAMED = 10
CSV = "text/csv; charset=utf-8"


@dataclass
class AskedLots:
    """The lots that a recall is about, as its address names them, and what was typed for them."""

    lots: list[Lot]
    typed: str

    @classmethod
    def of(cls, request: HttpRequest, keys: str) -> "AskedLots":
        """Return the lots with the keys of an address, such as 12-40; raises `Http404`."""
        wanted = [key for text in keys.split("-") if (key := row_key(text))]
        lots = list(Lot.objects.select_related("product").filter(pk__in=wanted).order_by("pk"))
        if not lots or len(lots) != len(keys.split("-")):
            raise Http404(_("These lots were not found."))
        codes = ", ".join(dict.fromkeys(lot.code for lot in lots))
        return cls(lots, request.GET.get("code", "").strip()[:60] or codes[:60])

    @property
    def roots(self) -> list[int]:
        return [lot.pk for lot in self.lots]

    @cached_property
    def family(self) -> LotKeys:
        return Lot.objects.family_keys(self.roots)

    @property
    def keys(self) -> str:
        return keys_of(self.lots)

    def url(self, name: str) -> str:
        return f"{reverse(f'recall:{name}', args=[self.keys])}?{urlencode({'code': self.typed})}"

    @property
    def answer_url(self) -> str:
        return self.url("answer")

    @property
    def start_url(self) -> str:
        return self.url("start")

    @property
    def hold_url(self) -> str:
        return self.url("hold")

    @property
    def release_url(self) -> str:
        return self.url("release")

    @property
    def csv_url(self) -> str:
        return self.url("answer_csv")


def keys_of(lots: Sequence[Lot]) -> str:
    """Return what stands for lots in an address."""
    return "-".join(str(lot.pk) for lot in lots)


@sees_buyers
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Find the lots that are meant, or show the recalls there were."""
    typed = request.GET.get("code", "").strip()[:TYPED_MAX]
    chosen = [str(key) for text in request.GET.getlist("lot") if (key := row_key(text))]
    lots = recalled_lots.find(typed) if typed and not chosen else None
    if lots and lots.is_certain:
        chosen = [str(lot.pk) for lot in lots.meant]
    if chosen:
        address = reverse("recall:answer", args=["-".join(dict.fromkeys(chosen))])
        return HttpResponseRedirect(f"{address}?{urlencode({'code': typed})}")
    page = Paginator(found.records(), RECORDS_SHOWN).get_page(request.GET.get("page"))
    return render(request, "recall/home.html", {"typed": typed, "found": lots, "page": page})


@sees_buyers
@require_safe
def answer(request: HttpRequest, keys: str) -> HttpResponse:
    """Say who has it, where the rest is, and whether that is all of it."""
    asked = AskedLots.of(request, keys)
    made = answers.answer(asked.roots, family=asked.family)
    holds = list(hold_queries.of_lots(asked.family))
    return render(
        request,
        "recall/answer.html",
        {
            "asked": asked,
            "answer": made,
            "running": found.running(asked.roots),
            "hold_events": hold_queries.events(holds),
            **_held(asked.roots, made, holds),
            **_lists(request, made, answers.buyers_now(asked.family)),
        },
    )


def _held(
    roots: list[int], made: RecallAnswer, holds: list[LotHold]
) -> dict[str, list[LotAccount]]:
    """Part the lots into those that a recall of just these roots holds, and the others."""
    held = found.held_by_recall(roots, holds)
    return {
        "held_here": [lot for lot in made.lots if lot.pk in held],
        "not_held_here": [lot for lot in made.lots if lot.pk not in held],
    }


def _lists(request: HttpRequest, made: RecallAnswer, buyers: Buyers) -> dict[str, Any]:
    """Return the first rows of each list, or one list in pages where the address asks for it.

    Of the buyers, the address may ask for one: then the pages are those of that buyer's sales.
    """
    lists: dict[str, Sequence[Any]] = {
        "buyers": buyers.all,
        "handed_back": made.handed_back,
        "unnamed": made.unnamed,
        "places": made.places,
        "waiting": made.waiting,
        "back": made.back,
        "shortages": made.shortages,
        "lots": made.lots,
        "sources": made.sources,
    }
    show = request.GET.get("show", "")
    one_buyer = row_key(request.GET.get("buyer", "")) if show == "buyers" else None
    page: Page[Any] | None = None
    rows: dict[str, list[Any]] = {}
    long_lists: set[str] = set()
    if one_buyer:
        page = page_of(request, buyers.sales_of(one_buyer))
        rows[show] = [replace(row, sales=list(page)) for row in buyers.row_of(one_buyer)]
    elif show in lists:
        page = page_of(request, lists[show])
        rows[show] = list(page)
    else:
        show = ""
        for name, each in lists.items():
            # One more says whether there are more, without counting them all.
            first = list(each[: ROWS_SHOWN + 1])
            rows[name] = first[:ROWS_SHOWN]
            if len(first) > ROWS_SHOWN:
                long_lists.add(name)
    return {
        "show": show,
        "page": page,
        "rows": rows,
        "long_lists": long_lists,
        "is_one_buyer": bool(one_buyer),
    }


@sees_buyers
@require_safe
def answer_csv(request: HttpRequest, keys: str) -> StreamingHttpResponse:
    """Everybody who has it, however many they are."""
    asked = AskedLots.of(request, keys)
    sales = trace.all_named(asked.family)
    rows = recall_files.csv_rows(sales, lambda: answers.answer(asked.roots))
    return _csv(f"recall-{asked.keys}.csv", csv_lines(rows))


def _csv(name: str, lines: Iterator[str]) -> StreamingHttpResponse:
    return StreamingHttpResponse(
        lines,
        content_type=CSV,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


class LotsActView(ActView):
    """An act on the lots in the address."""

    @cached_property
    def asked(self) -> AskedLots:
        return AskedLots.of(self.request, self.kwargs["keys"])

    def prepare(self) -> None:
        self.asked  # noqa: B018  # lots that are not there are refused before anything else

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        made = answers.answer(self.asked.roots, family=self.asked.family)
        holds = list(hold_queries.of_lots(self.asked.family))
        return super().get_context_data(
            asked=self.asked, answer=made, **_held(self.asked.roots, made, holds), **kwargs
        )

    def next_url(self, made: Any) -> str:
        return self.asked.answer_url

    def repeat_url(self, made: Any) -> str:
        return self.asked.answer_url


class RecallStartView(LotsActView):
    permission_required = "orders.fulfil_orders"
    form_class = RecallStartForm
    template_name = "recall/start.html"

    def get_initial(self) -> dict[str, Any]:
        kind = self.request.GET.get("kind", "")
        return {"kind": kind if kind in Recall.Kind.values else Recall.Kind.MOCK}

    def act(self, data: dict[str, Any]) -> Recall:
        made = answers.answer(self.asked.roots, with_sales=True)
        return recalls.start(
            code=self.asked.typed,
            lots=self.asked.lots,
            answer=made.as_json(),
            percent_accounted=made.percent_accounted,
            percent_found=made.percent_found,
            started_by=person_of(self.request),
            **data,
        )

    def done_message(self, made: Recall) -> str:
        return _("The clock runs. Check what the page says, then finish the recall with notes.")

    def next_url(self, made: Recall) -> str:
        return reverse("recall:record", args=[made.pk])

    def repeat_url(self, made: Recall) -> str:
        return self.next_url(made)


class RecallHoldView(LotsActView):
    permission_required = "inventory.run_bottling"
    form_class = RecallHoldForm
    template_name = "recall/hold.html"

    def act(self, data: dict[str, Any]) -> LotsChanged:
        return recalls.hold(lots=self.asked.lots, held_by=person_of(self.request), **data)

    def done_message(self, made: LotsChanged) -> str:
        count = len(made.changed)
        return ngettext(
            "%(count)s lot is on hold now. Nobody can sell, bottle or mix it.",
            "%(count)s lots are on hold now. Nobody can sell, bottle or mix them.",
            count,
        ) % {"count": count}


class RecallReleaseView(LotsActView):
    permission_required = "inventory.release_hold"
    form_class = RecallReleaseForm
    template_name = "recall/release.html"

    def act(self, data: dict[str, Any]) -> LotsChanged:
        return recalls.release(lots=self.asked.lots, released_by=person_of(self.request), **data)

    def done_message(self, made: LotsChanged) -> str:
        count, left = len(made.freed), len(made.left)
        done = ngettext(
            "%(count)s lot may be sold again.", "%(count)s lots may be sold again.", count
        ) % {"count": count}
        if not left:
            return done
        kept = ngettext(
            "%(count)s lot stays on hold for another reason:",
            "%(count)s lots stay on hold for other reasons:",
            left,
        ) % {"count": left}
        named = "; ".join(f"{lot.code}: {lot.hold_reason}" for lot in made.left[:LEFT_NAMED])
        return f"{done} {kept} {named}" + ("; …" if left > LEFT_NAMED else "")


def _record(pk: int) -> Recall:
    return get_object_or_404(
        Recall.objects.select_related("started_by", "finished_by").prefetch_related("lots"), pk=pk
    )


@sees_buyers
@require_safe
def record(request: HttpRequest, pk: int) -> HttpResponse:
    """What the books answered when a recall was started, and what was checked since."""
    kept = _record(pk)
    made = answers.from_json(kept.answer)
    lots = list(kept.lots.all())
    family = Lot.objects.family_keys(lot.pk for lot in lots)
    return render(
        request,
        "recall/record.html",
        {
            "record": kept,
            "answer": made,
            "progress": recall_progress.of(kept),
            "now_url": reverse("recall:answer", args=[keys_of(lots)]) if lots else "",
            "hold_events": hold_queries.events(hold_queries.of_lots(family)),
            **_lists(request, made, answers.buyers_kept(made)),
        },
    )


@sees_buyers
@require_safe
def record_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    kept = _record(pk)
    return documents.serve(
        request,
        name=f"recall-{pk}.pdf",
        template_name="documents/recall.html",
        context=recall_files.paper_context(kept),
    )


@sees_buyers
@require_safe
def record_csv(request: HttpRequest, pk: int) -> StreamingHttpResponse:
    made = answers.from_json(_record(pk).answer)
    return _csv(f"recall-{pk}.csv", csv_lines(recall_files.csv_rows(made.sales, lambda: made)))


class RecallFinishView(ActView):
    permission_required = "orders.fulfil_orders"
    form_class = RecallFinishForm
    template_name = "recall/finish.html"

    @cached_property
    def recall(self) -> Recall:
        return get_object_or_404(found.records(), pk=self.kwargs["pk"])

    def prepare(self) -> None:
        self.recall  # noqa: B018  # a recall that is not there is refused before anything else

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(record=self.recall, **kwargs)

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "is_real": self.recall.kind == Recall.Kind.REAL}

    def act(self, data: dict[str, Any]) -> Recall:
        roots = list(self.recall.lots.values_list("pk", flat=True))
        return recalls.finish(
            recall=self.recall,
            notes=data["notes"],
            answer=answers.answer(roots, with_sales=True).as_json(),
            finished_by=person_of(self.request),
            lots_are_settled=data.get("lots_are_settled", False),
        )

    def done_message(self, made: Recall) -> str:
        return _("The recall is finished, and its record is kept.")

    def next_url(self, made: Recall) -> str:
        return reverse("recall:record", args=[made.pk])
