"""Addresses that are left when somebody cuts the end off another: each leads to a page near it.

They have no names, because no page links to them; a test walks all addresses and names the first
parts that lead nowhere. Programs don't cut addresses: of the API only its beginnings lead a person
to the pages about it, and all else is a problem that says that there is nothing.
"""

from collections.abc import Callable

from django.http import HttpResponseBase
from django.urls import path, re_path, reverse_lazy
from django.views.generic import RedirectView


def _to(name: str) -> Callable[..., HttpResponseBase]:
    """Return a view that leads to the page of this name, with the arguments of its own address."""
    return RedirectView.as_view(pattern_name=name)


DRUMS = reverse_lazy("billing:drum_register")
E_MAILS = reverse_lazy("mailing:email_list")
TEXTS = reverse_lazy("mailing:text_list")
BOXES = reverse_lazy("billing:honesty_boxes")
STAND_DAYS = reverse_lazy("billing:stand_days")
GIVEN = reverse_lazy("billing:handed_in_sales")
MARKS = reverse_lazy("billing:stand_marks")

BACKUPS = reverse_lazy("keeping:backups")
OWN_ACCESS = reverse_lazy("accounts:access")
LOST_PASSWORD = reverse_lazy("accounts:lost_password")

urlpatterns = [
    path("account/passkeys/", _to("accounts:account")),
    re_path(r"^account/passkeys/\d+/$", RedirectView.as_view(url=reverse_lazy("accounts:account"))),
    re_path(r"^account/people/(?P<pk>\d+)/second-step/$", _to("accounts:person")),
    path("account/programs/", _to("accounts:access")),
    re_path(r"^account/programs/\d+/$", RedirectView.as_view(url=OWN_ACCESS)),
    re_path(r"^account/devices/\d+/$", RedirectView.as_view(url=OWN_ACCESS)),
    path("account/new-password/", RedirectView.as_view(url=LOST_PASSWORD)),
    path("account/new-password/<str:uidb64>/", RedirectView.as_view(url=LOST_PASSWORD)),
    path("money/statements/", _to("billing:money")),
    re_path(r"^reports/(?P<slug>[^/]+)/long/$", _to("reports:report")),
    path("settings/import/new/", _to("imports:home")),
    path("settings/keeping/", _to("keeping:system")),
    re_path(r"^settings/keeping/backups/\d+/$", RedirectView.as_view(url=BACKUPS)),
    path("settings/programs/messages/", _to("webhooks:endpoints")),
    path("work/", _to("web:today")),
    path("api/", _to("api:docs")),
    path("api/v1/", _to("api:docs")),
    path("selling/drums/customers/", _to("billing:drum_register")),
    re_path(r"^selling/drums/customers/\d+/$", RedirectView.as_view(url=DRUMS)),
    path("selling/drums/drum/", _to("billing:drum_register")),
    path("selling/drums/out/", _to("billing:drum_register")),
    path("selling/drums/kept/", RedirectView.as_view(url=DRUMS)),
    re_path(r"^selling/drums/kept/\d+/$", RedirectView.as_view(url=DRUMS)),
    re_path(r"^selling/drums/out/\d+/$", RedirectView.as_view(url=DRUMS)),
    path("selling/drums/returned/", _to("billing:drum_register")),
    re_path(r"^selling/drums/returned/\d+/$", RedirectView.as_view(url=DRUMS)),
    path("selling/orders/<str:number>/handed-over/", _to("orders:order_detail")),
    re_path(r"^selling/orders/(?P<number>[^/]+)/handed-over/\d+/$", _to("orders:order_detail")),
    path("stand/honesty-boxes/counts/", _to("billing:honesty_boxes")),
    re_path(r"^stand/honesty-boxes/counts/\d+/$", RedirectView.as_view(url=BOXES)),
    path("stand/days/cash/", _to("billing:stand_days")),
    re_path(r"^stand/days/cash/\d+/$", RedirectView.as_view(url=STAND_DAYS)),
    re_path(r"^stand/given/\d+/$", RedirectView.as_view(url=GIVEN)),
    path("stand/marks/short/", RedirectView.as_view(url=MARKS)),
    re_path(r"^stand/marks/\d+/$", RedirectView.as_view(url=MARKS)),
    path("bottling/comb/", _to("inventory:bottling")),
    path("bottling/goods-received/", _to("inventory:goods_list")),
    re_path(r"^bottling/goods-received/\d+/$", _to("inventory:goods_list")),
    path("bottling/lots/", _to("inventory:lot_list")),
    path("bottling/lots/<str:code>/", _to("inventory:lot_detail")),
    path("bottling/lots/<str:code>/<slug:product>/", _to("inventory:lot_detail")),
    path("bottling/parts-received/", _to("inventory:part_list")),
    re_path(r"^bottling/parts-received/\d+/$", _to("inventory:part_list")),
    path("bottling/runs/", _to("inventory:bottling")),
    path("bottling/boxes/", _to("inventory:jar_list")),
    path("customers/<int:pk>/addresses/", _to("customers:detail")),
    path("customers/addresses/", _to("customers:list")),
    re_path(r"^customers/addresses/\d+/$", _to("customers:list")),
    path("files/", _to("web:today")),
    path("files/add/", _to("web:today")),
    re_path(r"^honey/cleaning/\d+/$", _to("inventory:cleaning")),
    re_path(r"^honey/cleaning/log/\d+/$", _to("inventory:cleaning_log")),
    path("honey/convert/", _to("inventory:honey")),
    path("honey/convert/dip/", _to("inventory:dip")),
    path("honey/measurements/", _to("inventory:lot_list")),
    re_path(r"^honey/measurements/\d+/$", _to("inventory:lot_list")),
    path("honey/received/", _to("inventory:lot_list")),
    path("honey/received/<str:code>/", _to("inventory:lot_detail")),
    path("honey/recall/lots/", _to("recall:home")),
    path("honey/recall/records/", _to("recall:home")),
    re_path(r"^honey/warmings/\d+/$", _to("inventory:warming_list")),
    re_path(r"^customers/(?P<pk>\d+)/certificates/$", _to("customers:detail")),
    path("money/customers/", _to("billing:money")),
    path("money/e-mails/papers/", _to("mailing:email_list")),
    path("money/e-mails/reminders/customers/", _to("mailing:reminders")),
    path("money/e-mails/reminders/pauses/", _to("mailing:reminders")),
    re_path(r"^money/e-mails/reminders/pauses/\d+/$", _to("mailing:reminders")),
    path("money/e-mails/send/", _to("mailing:email_list")),
    path("money/e-mails/send/<slug:paper>/", RedirectView.as_view(url=E_MAILS)),
    path("money/e-mails/texts/<slug:name>/", RedirectView.as_view(url=TEXTS)),
    path("money/tax/certificates/", _to("customers:certificates")),
    re_path(r"^money/tax/certificates/(?P<pk>\d+)/invoices/$", _to("billing:late_certificate")),
    path("money/invoices/new/", _to("billing:invoice_list")),
    re_path(r"^prices/honey/expense/\d+/$", _to("pricing:honey_cost")),
    path("prices/honey/lots/", _to("pricing:honey_cost")),
    path("prices/products/", _to("pricing:prices")),
    path("prices/sizes/", _to("pricing:prices")),
    # Prices belonged to sizes once.
    path("prices/sizes/<slug:code>/", _to("pricing:product_prices")),
    path("selling/customers/", _to("customers:list")),
    path("selling/customers/<int:pk>/", _to("customers:detail")),
    path("selling/lots/", _to("inventory:lot_list")),
    path("selling/lots/<str:code>/", _to("inventory:lot_detail")),
    path("selling/orders/", _to("orders:selling")),
    path("selling/orders/<str:number>/lines/", _to("orders:order_detail")),
    re_path(r"^selling/orders/(?P<number>[^/]+)/lines/\d+/$", _to("orders:order_detail")),
    path("selling/orders/<str:number>/take-back/", _to("orders:order_detail")),
    path("selling/quotes/", _to("orders:selling")),
    path("selling/quotes/<str:number>/", _to("orders:order_detail")),
]
