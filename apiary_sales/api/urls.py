from django.urls import path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from apiary_sales.api import files, recall, reports, views, weight_sales

app_name = "api"

router = SimpleRouter()
router.register("places", views.PlaceViewSet)
router.register("lots", views.LotViewSet)
router.register("products", views.ProductViewSet)
router.register("sizes", views.SizeViewSet)
router.register("stock", views.StockViewSet)
router.register("postings", views.PostingViewSet)
router.register("customers", views.CustomerViewSet)
router.register("orders", views.OrderViewSet)
router.register("invoices", views.InvoiceViewSet)

urlpatterns = [
    *router.urls,
    path("extractions/", views.ExtractionView.as_view(), name="extractions"),
    path("transfers/", views.TransferView.as_view(), name="transfers"),
    path("stand-sales/", views.StandSaleView.as_view(), name="stand-sales"),
    path(
        "weight-sales/",
        weight_sales.WeightSaleView.as_view(),
        name="weight-sales",
    ),
    path("lots/<str:code>/files/", files.LotFilesView.as_view(), name="lot-files"),
    path("customers/<int:pk>/files/", files.CustomerFilesView.as_view(), name="customer-files"),
    path("orders/<str:number>/files/", files.OrderFilesView.as_view(), name="order-files"),
    path("files/<int:pk>/", files.FileView.as_view(), name="file"),
    path("reports/", reports.ReportListView.as_view(), name="reports"),
    path("reports/<slug:slug>/", reports.ReportView.as_view(), name="report"),
    path("recall/", recall.RecallView.as_view(), name="recall"),
    path("recall/sales/", recall.RecallSalesView.as_view(), name="recall_sales"),
    path("token/", views.TokenView.as_view(), name="token"),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
]
