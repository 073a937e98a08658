"""The change of seller at a phone that several people share."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from apiary_sales.accounts import roles
from apiary_sales.accounts.models import User
from apiary_sales.accounts.seller_proofs import proof_of
from apiary_sales.accounts.services import pins
from apiary_sales.billing.views.stand_app import OURS
from inventory.shared import json_texts
from inventory.shared.errors import BadValue, HouseError, TooManyTries

TEXT_LENGTH_MAX = 100


@login_not_required
@require_POST
def change_seller(request: HttpRequest) -> JsonResponse:
    """Answer whether the PIN is that of the person who wants to be the seller.

    Who is signed in stays signed in, and no rights change. The answer has the mark that the phone
    sends with each sale of that person. 422 says what is wrong, 429 how long to wait.
    """
    if not request.user.is_authenticated:
        return _refusal(_("Sign in again to change the seller."), status=401)
    if not request.user.has_perm(roles.SELL):
        return _refusal(_("You are not allowed to sell at the stand. Ask the owner."), status=403)
    try:
        asked = _parse(request.body)
        # Who is signed in is a person of the house, whatever Django's types say.
        signed_in = User.objects.get(pk=request.user.pk)
        seller = pins.check_pin(asked_by=signed_in, **asked)
    except TooManyTries as error:
        return _refusal(str(error), status=429, wait_seconds=error.wait_seconds)
    except HouseError as error:
        return _refusal(str(error), status=422)
    return JsonResponse(
        {"id": seller.pk, "name": seller.display_name, "proof": proof_of(seller)}, headers=OURS
    )


def _parse(body: bytes) -> dict[str, Any]:
    """Return person, PIN and device out of what the page sent; raises `BadValue`."""
    unreadable = BadValue(_("This could not be read. Open the stand page again."))
    try:
        data = json_texts.read(body)
    except json_texts.UnreadableJson:
        raise unreadable from None
    if not isinstance(data, dict):
        raise unreadable
    pk, pin, device = data.get("seller"), data.get("pin"), data.get("device", "")
    if not isinstance(pk, int) or isinstance(pk, bool) or not 0 < pk < 2**63:
        raise unreadable
    if not all(isinstance(text, str) and len(text) <= TEXT_LENGTH_MAX for text in (pin, device)):
        raise unreadable
    person = User.objects.filter(pk=pk).first()
    if person is None:
        raise BadValue(_("This person is not known here. Open the stand page again."))
    return {"person": person, "pin": pin, "device": device}


def _refusal(message: str, *, status: int, **more: int) -> JsonResponse:
    return JsonResponse({"message": message, **more}, status=status, headers=OURS)
