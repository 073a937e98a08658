"""The warning that no good backup is recent, for who may do something about it."""

from typing import Any

from django import template

from apiary_sales.keeping.queries import backup_state

register = template.Library()


@register.inclusion_tag("keeping/_warning.html", takes_context=True)
def backup_warning(context: template.RequestContext) -> dict[str, Any]:
    """Warn who keeps the house when no good backup is recent, or the last one failed."""
    user = context["request"].user
    return {"state": backup_state.of_house() if user.has_perm("keeping.keep_house") else None}
