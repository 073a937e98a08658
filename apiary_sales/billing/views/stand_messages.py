"""What the scripts of the stand send and ask: JSON, each answer with a header that says it is ours.

401 and 403 leave a sale waiting on the device; 409 says what its key has recorded before; 422 says
in words why it cannot be booked at all.
"""

import functools
from collections.abc import Callable
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, JsonResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.accounts.models import User
from apiary_sales.accounts.queries import sellers
from apiary_sales.accounts.seller_proofs import proof_of
from apiary_sales.billing.forms import stand_messages as messages
from apiary_sales.billing.forms.stand_messages import SELL
from apiary_sales.billing.models import StandSale
from apiary_sales.billing.queries import receipts, stand_catalogue
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.queries.stand import StandOffer
from apiary_sales.billing.services import handed_in, stand, stand_returns
from apiary_sales.billing.views.stand_app import OURS
from apiary_sales.billing.views.stand_words import sold_text
from inventory.shared import json_texts, keys, public_address
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.people import person_of

View = Callable[[HttpRequest], JsonResponse]


def for_sellers(view: View) -> View:
    """Let only people who may sell ask; the script knows what to do with the refusals."""

    @functools.wraps(view)
    def checked(request: HttpRequest) -> JsonResponse:
        if not request.user.is_authenticated:
            return refusal(_("Sign in again to send the sales that are waiting."), status=401)
        if not request.user.has_perm(SELL):
            return refusal(
                _("You are not allowed to sell at the stand. Ask the owner."), status=403
            )
        return view(request)

    return login_not_required(checked)


@require_GET
# A page that was kept on the phone may have outlived its token.
@ensure_csrf_cookie
@for_sellers
def data(request: HttpRequest) -> JsonResponse:
    """Return prices and stock of all places as they are now."""
    return answer(catalogue_for(request))


@require_POST
@for_sellers
def record_sale(request: HttpRequest) -> JsonResponse:
    """Record one sale that the stand page sends; the same key gives the same answer.

    It has happened, so it is booked with what the person entered, and marked with what does not
    fit. Only what cannot be read, or names goods that never were, is refused.
    """
    try:
        message = json_texts.read(request.body)
        fields = messages.parse_sale(message, sent_by=person_of(request))
    except json_texts.UnreadableJson:
        return refusal(str(messages.unreadable()), status=422)
    except HouseError as error:
        made = stand.find(_key_of(message))
        return refusal(str(error), status=422) if made is None else _repeat(made, message, request)
    person = person_of(request)
    try:
        made = stand.sell(
            **{**fields, "sold_by": fields["sold_by"] or person},
            sent_by=person,
            source=StandSale.Source.TILL,
            has_happened=True,
        )
    except AlreadyRecorded as repeat:
        return _repeat(repeat.made, message, request)
    except HouseError as error:
        return refusal(str(error), status=422)
    handed_in.came_in(sale=made, sent_by=person)
    return _recorded(made, message, request)


@require_POST
@for_sellers
def undo_sale(request: HttpRequest) -> JsonResponse:
    """Undo a sale by its key; one that is not in the books was dropped by its device."""
    message = _object(request)
    if message is None:
        return refusal(str(messages.unreadable()), status=422)
    made = stand.find(_key_of(message))
    if made is None:
        return answer({"undone": False})
    if made.undone_on is not None:
        return answer({"undone": True, "number": str(made.receipt.credit_notes.first() or "")})
    if stand_returns.needs_approval(made.receipt, person_of(request)):
        return refusal(
            _("A sale of an earlier day, or of somebody else, is undone by the office. Ask there."),
            status=403,
        )
    try:
        note = stand.take_back(
            receipt=made.receipt,
            taken_by=person_of(request),
            key=keys.part(made.key, "undone"),
            reason=str(message.get("reason") or _("Undone at the stand"))[:300],
            weighed_comes_back=True,
        )
    except HouseError as error:
        return refusal(str(error), status=422)
    return answer({"undone": True, "number": str(note)})


@require_POST
@for_sellers
def hand_in(request: HttpRequest) -> JsonResponse:
    """Keep for the office a sale that its device could not get booked."""
    message = _object(request)
    try:
        if message is None or not isinstance(message.get("body"), dict):
            raise messages.unreadable()
        body = message["body"]
        handed_in.hand_in(
            key=messages.text(message, "key"),
            body=messages.kept(body),
            text=messages.text(message, "text", messages.TEXT_MAX),
            reason=str(message.get("reason") or "")[: messages.TEXT_MAX],
            device=messages.text(body, "device") if body.get("device") else "",
            handed_in_by=person_of(request),
        )
    except HouseError as error:
        return refusal(str(error), status=422)
    return answer({"handed_in": True})


def catalogue_for(request: HttpRequest) -> dict[str, Any]:
    """Return the catalogue for the places where the person who is signed in may sell."""
    person = person_of(request)
    places = list(stand_queries.places(person))
    return catalogue_of(stand_queries.offer(places, timezone.localdate()), person)


def catalogue_of(offer: StandOffer, person: User) -> dict[str, Any]:
    """Return the catalogue of an offer, with the mark of the person who is signed in."""
    return {
        **stand_catalogue.catalogue(offer, sellers()),
        "me": {"id": person.pk, "name": person.display_name, "proof": proof_of(person)},
    }


def answer(content: dict[str, Any], *, status: int = 200) -> JsonResponse:
    """Return an answer that the script knows as ours, with the time by our clock."""
    now = timezone.now().isoformat()
    return JsonResponse({**content, "now": now}, status=status, headers=OURS)


def refusal(message: str, *, status: int) -> JsonResponse:
    return answer({"message": message}, status=status)


def _recorded(made: StandSale, message: Any, request: HttpRequest) -> JsonResponse:
    content = _told(made, request)
    if message.get("wants_data"):
        content["data"] = catalogue_for(request)
    return answer(content)


def _repeat(made: StandSale, message: Any, request: HttpRequest) -> JsonResponse:
    """Answer as the first time, or say what the key has recorded where the message differs."""
    if messages.is_same(made.asked, message):
        return _recorded(made, message, request)
    recorded = {
        **_told(made, request),
        "lines": [
            {"name": line.description, "pieces": line.shown_quantity}
            for line in made.receipt.lines.all()
        ],
        "sold_at": made.sold_at.isoformat(),
        "undone": made.undone_on is not None,
    }
    return answer(
        {
            "message": _("This sale is in the books already, with other figures: %(sold)s")
            % {"sold": f"{made.text}. {sold_text(made)}"},
            "recorded": recorded,
        },
        status=409,
    )


def _told(made: StandSale, request: HttpRequest) -> dict[str, Any]:
    site = public_address.beginning(request)
    return {
        "key": made.key,
        "number": str(made.receipt),
        "text": sold_text(made),
        "total_cents": made.total_cents,
        "change_cents": made.change_cents,
        "receipt_url": reverse("billing:receipt", args=[made.receipt_id]),
        # For the buyer's own phone, which reaches public addresses alone.
        "read_url": site and f"{site}{receipts.read_path(made)}",
        "marks": [mark.text for mark in made.marks.all()],
    }


def _object(request: HttpRequest) -> dict[str, Any] | None:
    try:
        message = json_texts.read(request.body)
    except json_texts.UnreadableJson:
        return None
    return message if isinstance(message, dict) else None


def _key_of(message: Any) -> str:
    key = message.get("key") if isinstance(message, dict) else None
    return key if isinstance(key, str) else ""
