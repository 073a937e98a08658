from django.urls import URLPattern

app_name = "finding"

urlpatterns: list[URLPattern] = []
