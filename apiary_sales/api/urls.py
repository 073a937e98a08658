from django.urls import path

app_name = "api"

urlpatterns: list[path] = []
