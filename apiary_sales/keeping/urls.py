from django.urls import URLPattern

app_name = "keeping"

urlpatterns: list[URLPattern] = []
