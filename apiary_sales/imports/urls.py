from django.urls import path

from apiary_sales.imports.views import imports

app_name = "imports"

urlpatterns = [
    path("", imports.home, name="home"),
    path("new/<slug:kind>/", imports.UploadView.as_view(), name="upload"),
    path("new/<slug:kind>/template.csv", imports.template_csv, name="template_csv"),
    path("new/<slug:kind>/template.xlsx", imports.template_xlsx, name="template_xlsx"),
    path("<int:pk>/", imports.detail, name="detail"),
    path("<int:pk>/columns/", imports.ColumnsView.as_view(), name="columns"),
    path("<int:pk>/bring-in/", imports.BringInView.as_view(), name="bring_in"),
    path("<int:pk>/drop/", imports.drop, name="drop"),
    path("<int:pk>/undo/", imports.UndoImportView.as_view(), name="undo"),
    path("<int:pk>/wrong-rows.csv", imports.bad_rows, name="bad_rows"),
]
