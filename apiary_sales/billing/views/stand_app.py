"""The stand as an app on a phone: what is kept there, and how the phone knows that it is whole."""

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.contrib.auth.decorators import login_not_required, permission_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.engine import Engine
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from inventory.shared import static_files

# What the page needs to open without signal.
SHELL = [
    "web/app.css",
    "web/app.js",
    "web/typed.js",
    "web/vendor/htmx/htmx.min.js",
    "finding/box.css",
    "finding/box.js",
    "web/icons/house.svg",
    "web/icons/house-192.png",
    "inventory/fonts/noto-sans-latin-400-normal.woff2",
    "inventory/fonts/noto-sans-latin-700-normal.woff2",
    "billing/stand.css",
    "billing/stand/asking.js",
    "billing/stand/basket.js",
    "billing/stand/catalogue.js",
    "billing/stand/clock.js",
    "billing/stand/figures.js",
    "billing/stand/keep_ready.js",
    "billing/stand/page.js",
    "billing/stand/paying.js",
    "billing/stand/sales.js",
    "billing/stand/scanning.js",
    "billing/stand/screen.js",
    "billing/stand/seller.js",
    "billing/stand/sending.js",
    "billing/stand/store.js",
    "billing/stand/weighing.js",
]
# An answer without it is a captive portal's or a proxy's, whatever it says.
OURS = {"X-Stand": "1"}
# After this time the kept page is better than one that may still come.
PATIENCE_MS = 4_000
# The camera reads bar codes; as on every other page, nothing else of the device is used.
PERMISSIONS_POLICY = "camera=(self), geolocation=(), microphone=(), payment=(), usb=()"
# Changes what is kept although no file of the shell changed.
PAGE_TEMPLATES = ["billing/stand.html", "base.html", "finding/_box.html"]


@require_GET
@permission_required("orders.sell_at_stand", raise_exception=True)
def worker(request: HttpRequest) -> HttpResponse:
    """Return the script that keeps the stand on the device.

    It is asked for every page of the house, so that the stand opens wherever a person begins; all
    other pages come from here as ever.
    """
    root = reverse("web:today")
    response = render(
        request,
        "billing/stand_worker.js",
        {
            "version": json.dumps(version()),
            "shell": json.dumps(shell_digests()),
            "root": json.dumps(root),
            "stand": json.dumps(reverse("billing:stand")),
            "patience_ms": json.dumps(PATIENCE_MS),
        },
        content_type="text/javascript",
    )
    response["Service-Worker-Allowed"] = root
    return response


@login_not_required
@require_GET
def manifest(request: HttpRequest) -> HttpResponse:
    """Return what a phone needs to put the stand on its first screen."""
    start = reverse("billing:stand")
    return JsonResponse(
        {
            "id": start,
            "name": _("Honey stand"),
            "short_name": _("Stand"),
            "start_url": start,
            "scope": reverse("web:today"),
            "display": "standalone",
            "background_color": "#fbf7ef",
            "theme_color": "#9a4f04",
            "icons": [
                {
                    "src": static(f"web/icons/house-{pixels}.png"),
                    "sizes": f"{pixels}x{pixels}",
                    "type": "image/png",
                    "purpose": "any maskable",
                }
                for pixels in (192, 512)
            ],
        },
        content_type="application/manifest+json",
    )


def mark_page(response: HttpResponse) -> HttpResponse:
    """Mark the stand page as ours, with the version of the files that belong to it."""
    for name, value in OURS.items():
        response[name] = value
    response["X-Stand-Version"] = version()
    response["Permissions-Policy"] = PERMISSIONS_POLICY
    return response


def shell_digests() -> dict[str, str]:
    """Return the address of each file of the shell with the SHA-256 of what is sent there."""
    return {static(name): _digest_of(static_files.storage().file_of(name)) for name in SHELL}


def version() -> str:
    """Return what changes whenever the page or a file that it loads does."""
    engine = Engine.get_default()
    templates = [Path(engine.get_template(name).origin.name) for name in PAGE_TEMPLATES]
    parts = [*shell_digests().values(), *(_digest_of(path) for path in templates)]
    return hashlib.sha256("".join(parts).encode()).hexdigest()[:16]


def _digest_of(path: Path) -> str:
    return _digest(path, path.stat().st_mtime_ns)


@lru_cache(maxsize=256)
def _digest(path: Path, _changed_at: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
