from django.urls import path
from django.views.generic import TemplateView

urlpatterns = [
    path("bottling/", TemplateView.as_view(template_name="base.html"), name="bottling"),
]
