"""The stand: a page that sells with and without script, and with and without signal."""

import json
from typing import Any, cast

from django.conf import settings
from django.contrib.auth.decorators import login_not_required, permission_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.billing import papers
from apiary_sales.billing.forms.stand import StandForm, TakeBackForm, parse_sale
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.services import stand
from apiary_sales.billing.services.stand import StandSale
from apiary_sales.orders.rules import ways_back
from apiary_sales.orders.rules.lines import is_weighed_out
from inventory.shared import documents, words
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.models import House
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Place
from inventory.stock.queries import held_goods

SELL = "orders.sell_at_stand"
# What the page needs to open without signal.
SHELL = [
    "web/app.css",
    "web/app.js",
    "web/typed.js",
    "web/vendor/htmx/htmx.min.js",
    "web/icons/house.svg",
    "web/icons/house-192.png",
    "billing/stand.css",
    "billing/stand/page.js",
    "billing/stand/figures.js",
    "billing/stand/store.js",
]


class StandView(ActView):
    """The stand page. With script it is a till of its own; without, a form with quantities."""

    permission_required = SELL
    form_class = StandForm
    template_name = "billing/stand.html"

    def prepare(self) -> None:
        self.places = list(stand_queries.places())
        chosen = self.request.GET.get("place")
        self.place = next(
            (place for place in self.places if place.code == chosen),
            self.places[0] if self.places else None,
        )
        self.on = timezone.localdate()
        self.products = stand_queries.products(self.place, self.on) if self.place else []

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "products": self.products}

    def act(self, data: dict[str, Any]) -> StandSale:
        return stand.sell(
            lines=self.form.lines(),
            # Without a place there are no products, and a sale of none is refused.
            place=cast(Place, self.place),
            method=data["method"],
            tendered_cents=data["tendered"],
            discount_cents=data["discount"] or 0,
            sold_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: StandSale) -> str:
        return sold_text(made)

    def next_url(self, made: StandSale) -> str:
        return reverse("billing:receipt", args=[made.invoice.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "place": self.place,
            "places": self.places,
            "products": self.products,
            # What stands here comes first.
            "held_goods": sorted(held_goods.in_stores(), key=lambda held: held.place != self.place),
            "data": self._data(),
            "words": json.dumps(till_words()),
        }

    def _data(self) -> str:
        return json.dumps(
            {
                "place": self.place.code if self.place else "",
                "currency": settings.CURRENCY,
                "language": get_language(),
                "tax": stand_queries.tax_data(self.on),
                "products": [product.as_data() for product in self.products],
                "sales_url": reverse("billing:stand_sales"),
                "worker_url": reverse("billing:stand_worker"),
                "scope": reverse("billing:stand"),
            }
        )


@login_not_required
@require_POST
def record_sale(request: HttpRequest) -> JsonResponse:
    """Record one sale that the stand page sends; the same key gives the same answer.

    401 and 403 leave the sale waiting on the device; 422 says in words what a person must settle.
    """
    if not request.user.is_authenticated:
        return _refusal(_("Sign in again to send the sales that are waiting."), status=401)
    if not request.user.has_perm(SELL):
        return _refusal(_("You are not allowed to sell at the stand. Ask the owner."), status=403)
    try:
        fields = parse_sale(json.loads(request.body))
        made = stand.sell(sold_by=person_of(request), **fields)
    except (ValueError, RecursionError):
        return _refusal(_("The sale could not be read. Open the stand page again."), status=422)
    except AlreadyRecorded as repeat:
        made = repeat.made
    except HouseError as error:
        return _refusal(str(error), status=422)
    return JsonResponse(_answer(made))


@require_GET
@permission_required(SELL, raise_exception=True)
def worker(request: HttpRequest) -> HttpResponse:
    """Return the script that keeps the stand page open without signal, for /stand/ alone."""
    scope = reverse("billing:stand")
    shell = json.dumps([scope, *(static(name) for name in SHELL)])
    response = render(
        request,
        "billing/stand_worker.js",
        {"shell": shell, "scope": json.dumps(scope)},
        content_type="text/javascript",
    )
    response["Service-Worker-Allowed"] = scope
    response["Cache-Control"] = "no-cache"
    return response


@login_not_required
@require_GET
def manifest(request: HttpRequest) -> HttpResponse:
    """Return what a telephone needs to put the stand on its first screen."""
    scope = reverse("billing:stand")
    return JsonResponse(
        {
            "name": _("Honey stand"),
            "short_name": _("Stand"),
            "start_url": scope,
            "scope": scope,
            "display": "standalone",
            "background_color": "#fbf7ef",
            "theme_color": "#9a4f04",
            "icons": [
                {
                    "src": static(f"web/icons/house-{product}.png"),
                    "products": f"{product}x{product}",
                    "type": "image/png",
                    "purpose": "any maskable",
                }
                for product in (192, 512)
            ],
        },
        content_type="application/manifest+json",
    )


@require_GET
@permission_required(SELL, raise_exception=True)
def receipt_list(request: HttpRequest) -> HttpResponse:
    """Show what was sold at the stand, newest first."""
    page = Paginator(stand_queries.receipts(), 50).get_page(request.GET.get("page"))
    return render(request, "billing/receipt_list.html", {"page_obj": page})


@require_GET
@permission_required(SELL, raise_exception=True)
def receipt(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one receipt with its way back."""
    context = papers.receipt_context(_receipt(pk))
    del context["house"]
    usual = House.current().receipt_paper
    context["receipt_papers"] = [
        (paper, label) for paper, label in House.ReceiptPaper.choices if paper != usual
    ]
    return render(request, "billing/receipt.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def receipt_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    receipt = _receipt(pk)
    paper = request.GET.get("paper", "")
    if paper and paper not in House.ReceiptPaper:
        raise Http404
    return documents.answer(
        request,
        name=_("Receipt %(number)s.pdf") % {"number": receipt},
        make=lambda: papers.receipt(receipt, paper),
    )


class TakeBackView(ActView):
    """Undo a stand sale: jars back, money back."""

    permission_required = SELL
    form_class = TakeBackForm
    template_name = "billing/receipt_undo.html"

    def prepare(self) -> None:
        self.receipt = _receipt(self.kwargs["pk"])
        self.sold = [
            line.fulfilment_line.order_line
            for line in self.receipt.lines.all()
            if line.fulfilment_line
        ]

    def get_form_kwargs(self) -> dict[str, Any]:
        return {
            **super().get_form_kwargs(),
            "has_weighed": any(is_weighed_out(line) for line in self.sold),
        }

    def act(self, data: dict[str, Any]) -> Invoice:
        self.weighed_comes_back = data.get("weighed_comes_back", False)
        return stand.take_back(
            receipt=self.receipt,
            taken_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
            weighed_comes_back=self.weighed_comes_back,
        )

    def done_message(self, made: Invoice) -> str:
        happened = ways_back.what_happened(
            self.sold, had_left=False, spoils_weighed=not self.weighed_comes_back
        )
        done = _("The sale is undone. Give back %(amount)s. Credit note %(note)s.") % {
            "amount": words.money(-made.total_cents),
            "note": made,
        }
        return f"{done} {happened}".strip()

    def next_url(self, made: Invoice) -> str:
        return reverse("billing:receipt", args=[self.receipt.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "receipt": self.receipt,
            "sale": stand.of_receipt(self.receipt),
            "undone_by": self.receipt.credit_notes.first(),
            "lines": [
                (line, sold.is_stocked, is_weighed_out(sold))
                for line, sold in zip(self.receipt.lines.all(), self.sold, strict=True)
            ],
        }


def till_words() -> dict[str, str]:
    """Return what the till says; `{name}` is filled in by its script."""
    return {
        "here": _("{count} here"),
        "none_here": _("0 here"),
        "one_less": _("One less: {name}"),
        "one_more": _("One more: {name}"),
        "cash": _("Cash"),
        "card": _("Card"),
        "check": _("Check"),
        "card_help": _("Take the payment on your card reader first. Here it is only recorded."),
        "check_help": _("Look at the amount, the date and the signature."),
        "card_finish": _("Card paid {total}"),
        "check_finish": _("Check taken for {total}"),
        "enter_cash": _("Enter the cash that was given"),
        "take": _("Take {given}"),
        "take_and_give": _("Take {given}, give back {change}"),
        "give_back": _("Give back {change}"),
        "no_change": _("No change"),
        "ask_for": _("Ask for {missing} more"),
        "too_little": _("The sale comes to {total}: ask for {missing} more."),
        "discount_too_much": _(
            "The discount of {discount} is more than the price of the goods, {whole}. Enter "
            "a smaller discount."
        ),
        "discount_unread": _("Enter the discount as money, for example 0.50."),
        "tax_included": _("{name}, included"),
        "sold": _("Sold"),
        "receipt": _("Recorded on receipt {number}."),
        "no_signal": _("No signal."),
        "open_again": _("It could not be recorded yet. Open this page again."),
        "kept": _("The sale is kept on this device and sent later."),
        "one_waits": _("1 sale is waiting to be sent"),
        "many_wait": _("{count} sales are waiting to be sent"),
        "settle": _("A sale was not accepted. Read the reason, fix the problem, then try again."),
        "try_again": _("Try again"),
        "remove": _("Remove"),
        "remove_sure": _(
            "Remove this sale from the device? It is not in the books, so write it down first: "
            "{sale}"
        ),
    }


def sold_text(made: StandSale) -> str:
    """Say what was sold, and what to give back."""
    total = words.money(made.invoice.total_cents)
    if made.change_cents:
        return _("Sold for %(total)s. Give back %(change)s.") % {
            "total": total,
            "change": words.money(made.change_cents),
        }
    return _("Sold for %(total)s.") % {"total": total}


def _receipt(pk: int) -> Invoice:
    return get_object_or_404(stand_queries.receipts(), pk=pk)


def _answer(made: StandSale) -> dict[str, Any]:
    return {
        "number": str(made.invoice),
        "text": sold_text(made),
        "total_cents": made.invoice.total_cents,
        "change_cents": made.change_cents,
        "receipt_url": reverse("billing:receipt", args=[made.invoice.pk]),
    }


def _refusal(message: str, *, status: int) -> JsonResponse:
    return JsonResponse({"message": message}, status=status)
