from django.urls import path

from apiary_sales.customers import certificate_views, personal_views, views

app_name = "customers"

urlpatterns = [
    path("", views.customer_list, name="list"),
    path("names/", views.customer_names, name="names"),
    path("new/", views.customer_create, name="create"),
    path("certificates/", certificate_views.certificate_list, name="certificates"),
    path("certificates/<int:pk>/", certificate_views.certificate_detail, name="certificate"),
    path(
        "certificates/<int:pk>/end/",
        certificate_views.CertificateEndView.as_view(),
        name="certificate_end",
    ),
    path(
        "<int:pk>/certificates/new/",
        certificate_views.CertificateAcceptView.as_view(),
        name="certificate_accept",
    ),
    path("<int:pk>/", views.customer_detail, name="detail"),
    path("<int:pk>/addresses/new/", views.AddressCreateView.as_view(), name="address_create"),
    path("addresses/<int:pk>/remove/", views.AddressRemoveView.as_view(), name="address_remove"),
    path("<int:pk>/personal-data/", personal_views.personal_data, name="personal_data"),
    path("<int:pk>/personal-data/file/", personal_views.personal_file, name="personal_file"),
    path(
        "<int:pk>/personal-data/erase/", personal_views.EraseView.as_view(), name="personal_erase"
    ),
    path("<int:pk>/edit/", views.CustomerEditView.as_view(), name="edit"),
]
