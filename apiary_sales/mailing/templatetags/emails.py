"""The e-mails of a thing, on its page: `{% load emails %}{% emails_of invoice %}`."""

from typing import Any

from django import template
from django.db.models import Model
from django.utils import timezone

from apiary_sales.customers.models import Customer
from apiary_sales.mailing.queries import emails
from apiary_sales.mailing.views.emails import SEE, send_url
from apiary_sales.mailing.views.reminders import SEND
from inventory.shared import mailable

register = template.Library()
# The rest is in the list of all e-mails.
SHOWN_MAX = 10


@register.inclusion_tag("mailing/_emails.html", takes_context=True)
def emails_of(context: template.Context, thing: Model) -> dict[str, Any]:
    """Show what was sent of a thing, or to a customer, and a button for each paper it has.

    Whoever may neither see money nor send one of the papers sees nothing. It asks the database the
    same number of questions, however many e-mails there are.
    """
    user = context["request"].user
    papers = [paper for paper in mailable.papers_of(thing) if paper.may_send(user)]
    if not papers and not user.has_perm(SEE):
        return {}
    found = list(emails.of_thing(thing)[: SHOWN_MAX + 1])
    pauses: Any = ()
    if isinstance(thing, Customer):
        pauses = emails.pauses_of(thing, timezone.localdate())
    return {
        "shown": True,
        "rows": [(email, emails.state_tag(email)) for email in found[:SHOWN_MAX]],
        "more": len(found) > SHOWN_MAX,
        "thing": thing,
        "buttons": [(paper, send_url(paper, thing, {})) for paper in papers],
        "pauses": pauses,
        "may_pause": isinstance(thing, Customer) and user.has_perm(SEND),
    }
