"""What templates of long lists ask."""

from django import template
from django.template.context import RequestContext

register = template.Library()

# Keys of an address that don't narrow a list.
NOT_FILTERS = {"page", "sort", "order"}


@register.simple_tag(takes_context=True)
def filters_in_use(context: RequestContext) -> bool:
    """Return whether the address of the page narrows its list."""
    asked = context["request"].GET
    return any(value.strip() for key, value in asked.items() if key not in NOT_FILTERS)
