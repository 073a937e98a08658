"""The files of a thing, on its page: `{% load files %}{% files_of lot %}`."""

from typing import Any

from django import template
from django.db.models import Model

from inventory.shared import attachable
from inventory.shared.queries import files

register = template.Library()


@register.inclusion_tag("files/_files.html", takes_context=True)
def files_of(context: template.Context, thing: Model) -> dict[str, Any]:
    """Show the files of a thing, and a button to add one; nothing to those who may not see them.

    It asks the database one question, however many files there are.
    """
    registered = attachable.of_thing(thing)
    user = context["request"].user
    if not registered.may_see(user):
        return {}
    return {
        "files": files.of_thing(thing),
        "name": registered.name,
        "thing": thing,
        "may_add": registered.may_add(user),
    }
