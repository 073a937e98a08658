from django.urls import path
from django.views.generic import TemplateView

app_name = "orders"

urlpatterns = [
    path("", TemplateView.as_view(template_name="base.html"), name="selling"),
    path("stock/", TemplateView.as_view(template_name="base.html"), name="stock"),
]
