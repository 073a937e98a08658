from django.urls import URLPattern, path

from apiary_sales.keeping import export_views, system_views

app_name = "keeping"

urlpatterns: list[URLPattern] = [
    path("backups/", system_views.backup_list, name="backups"),
    path("backups/now/", system_views.back_up_now, name="back_up_now"),
    path("backups/<int:pk>/file/", system_views.backup_file, name="backup_file"),
    path("system/", system_views.system, name="system"),
    path("export/", export_views.export, name="export"),
    path("export/begin/", export_views.export_begin, name="export_begin"),
    path("export/file/", export_views.export_file, name="export_file"),
    path("export/delete/", export_views.export_delete, name="export_delete"),
]
