from django.conf import settings
from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path
from django.views.generic import RedirectView

from apiary_sales.accounts import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("apiary_sales.web.urls")),
    path("account/", include("apiary_sales.accounts.urls")),
    path("honey/recall/", include("apiary_sales.orders.recall_urls")),
    path("honey/plan-a-blend/", include("apiary_sales.planning.blend_urls")),
    path("", include("inventory.urls")),
    path("customers/", include("apiary_sales.customers.urls")),
    path("prices/", include("apiary_sales.pricing.urls")),
    path("selling/", include("apiary_sales.orders.urls")),
    path("", include("apiary_sales.billing.urls")),
    path("money/e-mails/", include("apiary_sales.mailing.urls")),
    path("settings/import/", include("apiary_sales.imports.urls")),
    path("settings/programs/", include("apiary_sales.webhooks.urls")),
    path("settings/keeping/", include("apiary_sales.keeping.urls")),
    path("find/", include("apiary_sales.finding.urls")),
    path("reports/plan/", include("apiary_sales.planning.urls")),
    path("reports/", include("apiary_sales.reports.urls")),
    path("api/v1/", include("apiary_sales.api.urls")),
    # One door in and one out for everybody: wrong passwords are counted, the second step is asked
    # for, and what a new password ends is ended, alike.
    path("admin/login/", views.back_office_door),
    path("admin/logout/", views.SignOutPageView.as_view()),
    path("admin/password_change/", RedirectView.as_view(pattern_name="accounts:password")),
    path("admin/", admin.site.urls),
    path("", include("apiary_sales.web.short_addresses")),
]

handler403 = "apiary_sales.web.views.forbidden"
handler404 = "apiary_sales.web.views.not_found"
handler500 = "apiary_sales.web.views.fault"

if settings.DEBUG:
    from django.contrib.staticfiles.urls import staticfiles_urlpatterns

    urlpatterns += staticfiles_urlpatterns()
