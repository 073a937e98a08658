"""Addresses of attached files (/files/…) and of long work (/work/…)."""

from django.urls import path

from inventory.shared import file_views, long_work_views

urlpatterns = [
    path("files/<int:pk>/", file_views.show, name="file"),
    path("files/<int:pk>/remove/", file_views.FileRemoveView.as_view(), name="file_remove"),
    path("files/add/<slug:thing>-<int:pk>/", file_views.FileAddView.as_view(), name="file_add"),
    path("work/<int:pk>/", long_work_views.show, name="long_work"),
    path("work/<int:pk>/file/", long_work_views.file, name="long_work_file"),
    path("work/<int:pk>/stop/", long_work_views.stop, name="long_work_stop"),
]
