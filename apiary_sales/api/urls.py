from django.urls import path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from apiary_sales.api import (
    blends,
    bottling,
    bottling_days,
    cleaning,
    comb,
    corrections,
    counts,
    credit_notes,
    files,
    fill_checks,
    flow,
    goods,
    holds,
    honey_of_others,
    jars,
    measurements,
    papers,
    products,
    recall,
    recall_records,
    reports,
    service_bills,
    shortages,
    structured_invoices,
    taxes,
    views,
    warmings,
    weight_sales,
)

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
    path("tax-rates/", taxes.TaxRatesApiView.as_view(), name="tax-rates"),
    path("tax-categories/", taxes.TaxCategoriesApiView.as_view(), name="tax-categories"),
    path("tax-return/", taxes.TaxReturnApiView.as_view(), name="tax-return"),
    path("exempt-sales/", taxes.ExemptSalesApiView.as_view(), name="exempt-sales"),
    path("certificates/", taxes.CertificatesApiView.as_view(), name="certificates"),
    path(
        "certificates/<int:pk>/end/",
        taxes.CertificateEndApiView.as_view(),
        name="certificate-end",
    ),
    path(
        "certificates/<int:pk>/invoices/<int:invoice>/",
        taxes.LateCertificateApiView.as_view(),
        name="certificate-late",
    ),
    path(
        "customers/<int:pk>/certificates/",
        taxes.CertificateAcceptApiView.as_view(),
        name="certificate-accept",
    ),
    path("extractions/", views.ExtractionView.as_view(), name="extractions"),
    path("transfers/", views.TransferView.as_view(), name="transfers"),
    path(
        "places/<slug:code>/measurements/",
        measurements.VesselMeasurementsApiView.as_view(),
        name="vessel-measurements",
    ),
    path("lots/<str:code>/name/", measurements.BlendNameApiView.as_view(), name="blend-name"),
    path("drum-weighings/", measurements.DrumWeighingsApiView.as_view(), name="drum-weighings"),
    path("drum-fills/", measurements.DrumFillsApiView.as_view(), name="drum-fills"),
    path("stand-sales/", views.StandSaleView.as_view(), name="stand-sales"),
    path(
        "weight-sales/",
        weight_sales.WeightSaleView.as_view(),
        name="weight-sales",
    ),
    path("blend-search/", blends.BlendSearchApiView.as_view(), name="blend-search"),
    path("blend-plans/", blends.BlendPlansApiView.as_view(), name="blend-plans"),
    path("blend-plans/<slug:number>/", blends.BlendPlanApiView.as_view(), name="blend-plan"),
    path(
        "blend-plans/<slug:number>/change/",
        blends.BlendPlanChangeApiView.as_view(),
        name="blend-plan-change",
    ),
    path(
        "blend-plans/<slug:number>/carry-out/",
        blends.BlendPlanCarryOutApiView.as_view(),
        name="blend-plan-carry-out",
    ),
    path(
        "blend-plans/<slug:number>/drop/",
        blends.BlendPlanDropApiView.as_view(),
        name="blend-plan-drop",
    ),
    path(
        "blend-plans/<slug:number>/worksheet.pdf",
        blends.BlendWorksheetApiView.as_view(),
        name="blend-plan-worksheet",
    ),
    path("varieties/", products.VarietiesApiView.as_view(), name="varieties"),
    path("brands/", products.BrandsApiView.as_view(), name="brands"),
    path(
        "brands/<int:pk>/customer/",
        products.BrandCustomerApiView.as_view(),
        name="brand-customer",
    ),
    path("honey-products/", products.HoneyProductsApiView.as_view(), name="honey-products"),
    path("goods/", products.GoodsProductsApiView.as_view(), name="goods"),
    path("goods-receipts/", goods.GoodsReceiptsApiView.as_view(), name="goods-receipts"),
    path("goods-made/", goods.GoodsMadeApiView.as_view(), name="goods-made"),
    path("gift-boxes/", products.GiftBoxesApiView.as_view(), name="gift-boxes"),
    path("gift-boxes-made/<slug:code>/", jars.BoxesMakeApiView.as_view(), name="boxes-make"),
    path("runs/", bottling.RunsApiView.as_view(), name="runs"),
    path("runs/<slug:number>/", bottling.RunApiView.as_view(), name="run"),
    path("runs/<slug:number>/record/", bottling.RunRecordApiView.as_view(), name="run-record"),
    path(
        "runs/<slug:number>/correct/", corrections.RunCorrectApiView.as_view(), name="run-correct"
    ),
    path(
        "lots/<str:code>/correct/",
        corrections.HoneyReceiptCorrectApiView.as_view(),
        name="honey-receipt-correct",
    ),
    path(
        "parts-received/<int:pk>/correct/",
        corrections.PartReceiptCorrectApiView.as_view(),
        name="part-receipt-correct",
    ),
    path(
        "goods-received/<int:pk>/correct/",
        corrections.GoodsReceiptCorrectApiView.as_view(),
        name="goods-receipt-correct",
    ),
    path("runs/<slug:number>/cancel/", bottling.RunCancelApiView.as_view(), name="run-cancel"),
    path(
        "runs/<slug:number>/fill-checks/",
        fill_checks.RunFillChecksApiView.as_view(),
        name="run-fill-checks",
    ),
    path(
        "sizes/<slug:code>/fill-chart/", fill_checks.FillChartApiView.as_view(), name="fill-chart"
    ),
    path("runs/<slug:number>/labels.pdf", papers.RunLabelsApiView.as_view(), name="run-labels"),
    path("bottling-days/", bottling_days.BottlingDaysApiView.as_view(), name="bottling-days"),
    path(
        "bottling-day-sheets/",
        bottling_days.BottlingDaySheetsApiView.as_view(),
        name="bottling-day-sheets",
    ),
    path(
        "estimates-settled/",
        bottling_days.EstimatesSettleApiView.as_view(),
        name="estimates-settled",
    ),
    path("drum-labels.pdf", papers.DrumLabelsApiView.as_view(), name="drum-labels"),
    path("returned-jars/", jars.ReturnedJarsApiView.as_view(), name="returned-jars"),
    path(
        "returned-jars/<int:pk>/decide/", jars.JarsDecideApiView.as_view(), name="returned-decide"
    ),
    path("comb-receipts/", comb.CombReceiptsApiView.as_view(), name="comb-receipts"),
    path("comb-cuts/", comb.CombCutsApiView.as_view(), name="comb-cuts"),
    path("stock-counts/", counts.StockCountsApiView.as_view(), name="stock-counts"),
    path("stock-write-offs/", counts.StockWriteOffsApiView.as_view(), name="stock-write-offs"),
    path("honey-write-offs/", counts.HoneyWriteOffsApiView.as_view(), name="honey-write-offs"),
    path("count-sheets/", counts.CountSheetsApiView.as_view(), name="count-sheets"),
    path("count-sheets/<str:number>/", counts.CountSheetApiView.as_view(), name="count-sheet"),
    path(
        "count-sheets/<str:number>/lines/", counts.CountLinesApiView.as_view(), name="count-lines"
    ),
    path(
        "count-sheets/<str:number>/store/", counts.CountStoreApiView.as_view(), name="count-store"
    ),
    path(
        "count-sheets/<str:number>/vessel/",
        counts.CountVesselApiView.as_view(),
        name="count-vessel",
    ),
    path(
        "count-sheets/<str:number>/differences/",
        counts.CountDifferencesApiView.as_view(),
        name="count-differences",
    ),
    path(
        "count-sheets/<str:number>/close/", counts.CountCloseApiView.as_view(), name="count-close"
    ),
    path(
        "count-sheets/<str:number>/cancel/",
        counts.CountCancelApiView.as_view(),
        name="count-cancel",
    ),
    path(
        "count-sheets/<str:number>/sheet.pdf",
        counts.CountSheetPaperApiView.as_view(),
        name="count-sheet-paper",
    ),
    path("suppliers/", honey_of_others.SuppliersApiView.as_view(), name="suppliers"),
    path("purchases/", honey_of_others.PurchasesApiView.as_view(), name="purchases"),
    path("others-honey/", honey_of_others.OwnerReceiptsApiView.as_view(), name="others-honey"),
    path("honey-handed-back/", honey_of_others.HandBackApiView.as_view(), name="others-back"),
    path(
        "jars-handed-back/",
        honey_of_others.HandBackJarsApiView.as_view(),
        name="others-back-jars",
    ),
    path("others-honey-bought/", honey_of_others.BuyFromOwnerApiView.as_view(), name="others-buy"),
    path("warmings/", warmings.WarmingsApiView.as_view(), name="warmings"),
    path(
        "warmings/<int:pk>/remove/",
        warmings.WarmingRemoveApiView.as_view(),
        name="warming-remove",
    ),
    path("cleaning-tasks/", cleaning.CleaningTasksApiView.as_view(), name="cleaning-tasks"),
    path("cleaning-tasks/<int:pk>/", cleaning.CleaningTaskApiView.as_view(), name="cleaning-task"),
    path("cleanings/", cleaning.CleaningsApiView.as_view(), name="cleanings"),
    path(
        "cleanings/<int:pk>/remove/",
        cleaning.CleaningRemoveApiView.as_view(),
        name="cleaning-remove",
    ),
    path("holds/", holds.HoldsApiView.as_view(), name="holds"),
    path("holds-released/", holds.HoldsReleaseApiView.as_view(), name="holds-release"),
    path("shortages/", shortages.ShortagesApiView.as_view(), name="shortages"),
    path(
        "shortages/<int:pk>/settle/",
        shortages.ShortageSettleApiView.as_view(),
        name="shortage-settle",
    ),
    path("shortages/<int:pk>/lot/", shortages.ShortageLotApiView.as_view(), name="shortage-lot"),
    path(
        "invoices/<int:pk>/credit-notes/",
        credit_notes.CreditNotesApiView.as_view(),
        name="invoice-credit-notes",
    ),
    path(
        "invoices/<int:pk>/corrected/",
        credit_notes.CorrectedInvoiceApiView.as_view(),
        name="invoice-corrected",
    ),
    path(
        "invoices/<int:pk>/ubl.xml",
        structured_invoices.InvoiceUblApiView.as_view(),
        name="invoice-ubl",
    ),
    path(
        "invoices/<int:pk>/data.pdf",
        structured_invoices.InvoiceHybridApiView.as_view(),
        name="invoice-hybrid",
    ),
    path(
        "customers/<int:pk>/invoice-details/",
        structured_invoices.InvoiceDetailsApiView.as_view(),
        name="customer-invoice-details",
    ),
    path(
        "orders/<str:number>/goods-back/",
        credit_notes.GoodsBackApiView.as_view(),
        name="order-goods-back",
    ),
    path("services/", service_bills.ServicesApiView.as_view(), name="services"),
    path(
        "customers/<int:pk>/service-bills/",
        service_bills.ServiceBillsApiView.as_view(),
        name="service-bills",
    ),
    path(
        "lots/<str:code>/measurements/",
        measurements.LotMeasurementsApiView.as_view(),
        name="lot-measurements",
    ),
    path("lots/<str:code>/warmings/", warmings.LotWarmingsApiView.as_view(), name="lot-warmings"),
    path(
        "lots/<str:code>/certificate.pdf",
        papers.LotCertificateApiView.as_view(),
        name="lot-certificate",
    ),
    path(
        "lots/<str:code>/<slug:product>/label/", jars.JarsLabelApiView.as_view(), name="jars-label"
    ),
    path(
        "lots/<str:code>/<slug:product>/empty/", jars.JarsEmptyApiView.as_view(), name="jars-empty"
    ),
    path(
        "lots/<str:code>/<slug:product>/came-back/",
        jars.JarsKeepApartApiView.as_view(),
        name="jars-came-back",
    ),
    path(
        "lots/<str:code>/<slug:product>/take-apart/",
        jars.BoxesApartApiView.as_view(),
        name="boxes-apart",
    ),
    path(
        "lots/<str:code>/<slug:product>/ready/",
        bottling.ReadyNowApiView.as_view(),
        name="lot-ready",
    ),
    path(
        "lots/<str:code>/<slug:product>/release/",
        holds.LotReleaseApiView.as_view(),
        name="lot-release",
    ),
    path("lots/<str:code>/files/", files.LotFilesView.as_view(), name="lot-files"),
    path("customers/<int:pk>/files/", files.CustomerFilesView.as_view(), name="customer-files"),
    path("orders/<str:number>/files/", files.OrderFilesView.as_view(), name="order-files"),
    path("files/<int:pk>/", files.FileView.as_view(), name="file"),
    path("honey-flow/", flow.HoneyFlowApiView.as_view(), name="honey-flow"),
    path(
        "honey-flow/<slug:band>/",
        flow.HoneyFlowEntriesApiView.as_view(),
        name="honey-flow-entries",
    ),
    path("reports/", reports.ReportListView.as_view(), name="reports"),
    path("reports/<slug:slug>/", reports.ReportView.as_view(), name="report"),
    path("recall/", recall.RecallView.as_view(), name="recall"),
    path("recall/sales/", recall.RecallSalesView.as_view(), name="recall_sales"),
    path("recall/records/", recall_records.RecallRecordsApiView.as_view(), name="recall-records"),
    path(
        "recall/records/<int:pk>/",
        recall_records.RecallRecordApiView.as_view(),
        name="recall-record",
    ),
    path(
        "recall/records/<int:pk>/finish/",
        recall_records.RecallFinishApiView.as_view(),
        name="recall-finish",
    ),
    path("token/", views.TokenView.as_view(), name="token"),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
]
