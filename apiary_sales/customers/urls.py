from django.urls import path

from apiary_sales.customers import views

app_name = "customers"

urlpatterns = [
    path("", views.customer_list, name="list"),
    path("new/", views.customer_create, name="create"),
    path("<int:pk>/", views.customer_detail, name="detail"),
    path("<int:pk>/addresses/new/", views.AddressCreateView.as_view(), name="address_create"),
    path("addresses/<int:pk>/remove/", views.AddressRemoveView.as_view(), name="address_remove"),
    path("<int:pk>/edit/", views.customer_edit, name="edit"),
]
