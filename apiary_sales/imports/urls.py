from django.urls import URLPattern

app_name = "imports"

urlpatterns: list[URLPattern] = []
