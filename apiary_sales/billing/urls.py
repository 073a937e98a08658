from django.urls import path
from django.views.generic import TemplateView

app_name = "billing"

urlpatterns = [
    path("money/", TemplateView.as_view(template_name="base.html"), name="money"),
    path("stand/", TemplateView.as_view(template_name="base.html"), name="stand"),
]
