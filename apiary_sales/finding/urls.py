from django.urls import path

from apiary_sales.finding import views

app_name = "finding"

urlpatterns = [
    path("", views.find, name="find"),
]
