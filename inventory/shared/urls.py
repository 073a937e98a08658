"""Addresses of attached files (/files/…)."""

from django.urls import path

from inventory.shared import file_views

urlpatterns = [
    path("files/<int:pk>/", file_views.show, name="file"),
    path("files/<int:pk>/remove/", file_views.FileRemoveView.as_view(), name="file_remove"),
    path("files/add/<slug:thing>-<int:pk>/", file_views.FileAddView.as_view(), name="file_add"),
]
