from django.urls import include, path
from django.views.generic import RedirectView

from apiary_sales.web import design, health, views
from apiary_sales.web.first_hour import urls as first_hour
from apiary_sales.web.help import views as help_views

app_name = "web"

urlpatterns = [
    path("", views.today, name="today"),
    path("health/", health.show, name="health"),
    path("help/what-is-new/", views.what_is_new, name="what_is_new"),
    path("settings/design/", design.design, name="design"),
    path("help/", help_views.index, name="help"),
    path("help/cards/<slug:slug>.pdf", help_views.card, name="help_card"),
    path("help/cards/", RedirectView.as_view(pattern_name="web:help")),
    path("help/<slug:slug>/", help_views.topic, name="help_topic"),
    path("settings/", views.settings_page, name="settings"),
    path("set-up/", include(first_hour.urlpatterns)),
]
