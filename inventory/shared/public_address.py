"""The address by which strangers reach this house, for codes on papers."""

from ipaddress import ip_address
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest

# Ends of names that only one network has: RFC 6761, 6762 and 8375, and common practice.
LOCAL_ENDS = (".local", ".localhost", ".internal", ".lan", ".home.arpa")


def beginning(request: HttpRequest | None = None) -> str:
    """Return how public addresses begin, such as "https://honey.example"; empty without one.

    It is the address by which the page was opened, as on the labels of jars. Where that leads to
    this network alone, or there is no page, it is the first public name in ALLOWED_HOSTS.
    """
    if request is not None and is_public(request.get_host()):
        return f"{request.scheme}://{request.get_host()}"
    scheme = "https" if settings.HTTPS else "http"
    # "*" and ".honey.example" stand for many names.
    names = [name for name in settings.ALLOWED_HOSTS if name[:1] not in ("*", ".")]
    return next((f"{scheme}://{name}" for name in names if is_public(name)), "")


def is_public(host: str) -> bool:
    """Tell whether a host, perhaps with its port, can be reached from other networks."""
    name = urlsplit(f"//{host}").hostname or ""
    try:
        return ip_address(name).is_global
    except ValueError:
        return "." in name and not name.endswith(LOCAL_ENDS)
