from django.urls import path
from django.views.generic import TemplateView

app_name = "inventory"

urlpatterns = [
    path("honey/", TemplateView.as_view(template_name="base.html"), name="honey"),
    path("bottling/", TemplateView.as_view(template_name="base.html"), name="bottling"),
]
