"""The request of a page that also answers htmx with a part of itself."""

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails


class HtmxRequest(HttpRequest):
    """A request as the middleware of django-htmx hands it on; a type for views to name."""

    htmx: HtmxDetails
