"""The addresses that only read: what the pages show and no act answers with."""

from django.urls import path

from apiary_sales.api import (
    honey_in_hand,
    house_records,
    money_owed,
    packing_stock,
    plans,
    price_lists,
    stand_records,
    stock_for_sale,
    today,
)

urlpatterns = [
    path("honey/", honey_in_hand.HoneyInHandApiView.as_view(), name="honey"),
    path(
        "places/<slug:code>/contents/",
        honey_in_hand.PlaceContentsApiView.as_view(),
        name="place-contents",
    ),
    path(
        "places/<slug:code>/postings/",
        honey_in_hand.PlacePostingsApiView.as_view(),
        name="place-postings",
    ),
    path(
        "places/<slug:code>/dip-chart/", honey_in_hand.DipChartApiView.as_view(), name="dip-chart"
    ),
    path(
        "places/<slug:code>/dip-chart.pdf",
        honey_in_hand.DipChartPaperApiView.as_view(),
        name="dip-chart-paper",
    ),
    path("dips/", honey_in_hand.DipsApiView.as_view(), name="dips"),
    path("dips/<int:pk>/", honey_in_hand.DipApiView.as_view(), name="dip"),
    path("lots/<str:code>/story/", honey_in_hand.LotStoryApiView.as_view(), name="lot-story"),
    path("lots/<str:code>/origins/", honey_in_hand.LotOriginsApiView.as_view(), name="lot-origins"),
    path("lots/<str:code>/became/", honey_in_hand.LotBecameApiView.as_view(), name="lot-became"),
    path(
        "suppliers/<int:pk>/",
        honey_in_hand.SupplierDetailApiView.as_view(),
        name="supplier",
    ),
    path(
        "suppliers/<int:pk>/statement/",
        honey_in_hand.OwnerStatementApiView.as_view(),
        name="owner-statement",
    ),
    path(
        "suppliers/<int:pk>/statement.pdf",
        honey_in_hand.OwnerStatementPaperApiView.as_view(),
        name="owner-statement-paper",
    ),
    path("honey-of-others/", honey_in_hand.HoneyOfOthersApiView.as_view(), name="honey-of-others"),
    path("warmings.pdf", honey_in_hand.WarmingsPaperApiView.as_view(), name="warmings-paper"),
    path("cleanings.pdf", honey_in_hand.CleaningsPaperApiView.as_view(), name="cleanings-paper"),
    path("parts/", packing_stock.PartsApiView.as_view(), name="parts"),
    path("parts/<slug:code>/", packing_stock.PartApiView.as_view(), name="part"),
    path("goods-in-stock/", packing_stock.GoodsListApiView.as_view(), name="goods-in-stock"),
    path("goods-in-stock/<slug:code>/", packing_stock.GoodsApiView.as_view(), name="goods-item"),
    path(
        "products-in-stock/",
        packing_stock.ProductsInStockApiView.as_view(),
        name="products-in-stock",
    ),
    path("sizes-in-detail/", packing_stock.SizeDetailsApiView.as_view(), name="sizes-in-detail"),
    path("jars-to-do/", packing_stock.JarsToDoApiView.as_view(), name="jars-to-do"),
    path(
        "lots/<str:code>/<slug:product>/jars/",
        packing_stock.LotJarsApiView.as_view(),
        name="lot-jars",
    ),
    path("bottling/", packing_stock.BottlingOverviewApiView.as_view(), name="bottling"),
    path("runs/<slug:number>/report/", packing_stock.RunReportApiView.as_view(), name="run-report"),
    path(
        "bottling-days/<int:pk>/", packing_stock.BottlingDayApiView.as_view(), name="bottling-day"
    ),
    path("label-sheets/", packing_stock.LabelSheetsApiView.as_view(), name="label-sheets"),
    path(
        "label-sheets/<slug:code>/", packing_stock.LabelSheetApiView.as_view(), name="label-sheet"
    ),
    path(
        "label-sheets/<slug:code>/test.pdf",
        packing_stock.LabelSheetTestApiView.as_view(),
        name="label-sheet-test",
    ),
    path("stand-catalogue/", stand_records.StandCatalogueApiView.as_view(), name="stand-catalogue"),
    path("receipts/", stand_records.ReceiptsApiView.as_view(), name="receipts"),
    path("receipts/<int:pk>/", stand_records.ReceiptApiView.as_view(), name="receipt"),
    path(
        "receipts/<int:pk>/receipt.pdf",
        stand_records.ReceiptPaperApiView.as_view(),
        name="receipt-paper",
    ),
    path("takings/", stand_records.TakingsApiView.as_view(), name="takings"),
    path("takings.pdf", stand_records.TakingsPaperApiView.as_view(), name="takings-paper"),
    path(
        "stand-days/<int:pk>/report/",
        stand_records.StandDayReportApiView.as_view(),
        name="stand-day-report",
    ),
    path(
        "stand-days/<int:pk>/report.pdf",
        stand_records.StandDayPaperApiView.as_view(),
        name="stand-day-paper",
    ),
    path("pickups/", stand_records.PickupsApiView.as_view(), name="pickups"),
    path("pickups/<str:number>/", stand_records.PickupApiView.as_view(), name="pickup"),
    path(
        "pickups/<str:number>/done/", stand_records.FetchedSaleApiView.as_view(), name="pickup-done"
    ),
    path(
        "pickups/<str:number>/invoice.pdf",
        stand_records.FetchedInvoicePaperApiView.as_view(),
        name="pickup-invoice-paper",
    ),
    path("marked-sales/", stand_records.MarkedSalesApiView.as_view(), name="marked-sales"),
    path("marked-sales/seen/", stand_records.SeenSalesApiView.as_view(), name="marked-sales-seen"),
    path(
        "handed-in-sales/settled/",
        stand_records.SettledHandedInSalesApiView.as_view(),
        name="handed-in-sales-settled",
    ),
    path("markets/", stand_records.MarketsApiView.as_view(), name="markets"),
    path(
        "market-days/<int:pk>/load-list.pdf",
        stand_records.MarketLoadListApiView.as_view(),
        name="market-load-list",
    ),
    path("money/", money_owed.MoneyOverviewApiView.as_view(), name="money"),
    path("owed-on/", money_owed.OwedOnApiView.as_view(), name="owed-on"),
    path(
        "customers/<int:pk>/account/",
        money_owed.CustomerAccountApiView.as_view(),
        name="customer-account",
    ),
    path(
        "customers/<int:pk>/statement/",
        money_owed.CustomerStatementApiView.as_view(),
        name="customer-statement",
    ),
    path(
        "certificates/<int:pk>/invoices/",
        money_owed.CertificateInvoicesApiView.as_view(),
        name="certificate-invoices",
    ),
    path("payments/<int:pk>/", money_owed.PaymentApiView.as_view(), name="payment"),
    path(
        "orders/<str:number>/payments/",
        money_owed.PrepaymentsApiView.as_view(),
        name="order-payments",
    ),
    path("adjustments/", money_owed.AdjustmentsApiView.as_view(), name="adjustments"),
    path("adjustments/<int:pk>/", money_owed.AdjustmentApiView.as_view(), name="adjustment"),
    path("deposit-slips/<int:pk>/", money_owed.DepositSlipApiView.as_view(), name="deposit-slip"),
    path(
        "deposit-slips/<int:pk>/slip.pdf",
        money_owed.DepositSlipPaperApiView.as_view(),
        name="deposit-slip-paper",
    ),
    path("to-deposit/", money_owed.ToDepositApiView.as_view(), name="to-deposit"),
    path("money-kept/", money_owed.MoneyKeptApiView.as_view(), name="money-kept"),
    path("opening-balances/", money_owed.OpeningBalancesApiView.as_view(), name="opening-balances"),
    path("tax-documents/", money_owed.TaxDocumentsApiView.as_view(), name="tax-documents"),
    path("tax-return.pdf", money_owed.TaxReturnPaperApiView.as_view(), name="tax-return-paper"),
    path("books/", money_owed.BooksClosingApiView.as_view(), name="books"),
    path(
        "suppliers/<int:pk>/account/",
        money_owed.SupplierAccountApiView.as_view(),
        name="supplier-account",
    ),
    path(
        "deliveries-to-bill/",
        money_owed.DeliveriesToBillApiView.as_view(),
        name="deliveries-to-bill",
    ),
    path(
        "expenses/by-month/", money_owed.ExpensesByMonthApiView.as_view(), name="expenses-by-month"
    ),
    path("expenses/due/", money_owed.ExpensesDueApiView.as_view(), name="expenses-due"),
    path("drum-holders/", money_owed.DrumHoldersApiView.as_view(), name="drum-holders"),
    path(
        "drum-register.pdf",
        money_owed.DrumRegisterPaperApiView.as_view(),
        name="drum-register-paper",
    ),
    path("prices/", price_lists.PriceListsApiView.as_view(), name="prices"),
    path(
        "prices/<slug:code>/",
        price_lists.ProductPricesApiView.as_view(),
        name="product-prices",
    ),
    path("taxes-in-force/", price_lists.TaxesInForceApiView.as_view(), name="taxes-in-force"),
    path("bulk-prices/", price_lists.BulkPricesApiView.as_view(), name="bulk-prices"),
    path(
        "bulk-prices/history/",
        price_lists.BulkPriceHistoryApiView.as_view(),
        name="bulk-price-history",
    ),
    path("weight-prices/", price_lists.WeightPricesApiView.as_view(), name="weight-prices"),
    path(
        "weight-prices/history/",
        price_lists.WeightPriceHistoryApiView.as_view(),
        name="weight-price-history",
    ),
    path("private-labels/", price_lists.PrivateLabelsApiView.as_view(), name="private-labels"),
    path("selling-costs/", price_lists.SellingCostsApiView.as_view(), name="selling-costs"),
    path("season-costs/", price_lists.SeasonCostsApiView.as_view(), name="season-costs"),
    path("season-costs/<int:year>/", price_lists.SeasonCostApiView.as_view(), name="season-cost"),
    path("drum-or-jar/", price_lists.DrumOrJarApiView.as_view(), name="drum-or-jar"),
    path(
        "drum-or-jar/<slug:code>/",
        price_lists.ProductMarginApiView.as_view(),
        name="product-margin",
    ),
    path("stock-for-sale/", stock_for_sale.StockForSaleApiView.as_view(), name="stock-for-sale"),
    path(
        "stock-for-sale/<slug:code>/",
        stock_for_sale.ProductForSaleApiView.as_view(),
        name="product-for-sale",
    ),
    path("orders-to-do/", stock_for_sale.OrdersToDoApiView.as_view(), name="orders-to-do"),
    path(
        "orders/<str:number>/pick-list/", stock_for_sale.PickListApiView.as_view(), name="pick-list"
    ),
    path(
        "orders/<str:number>/pick-list.pdf",
        stock_for_sale.PickListPaperApiView.as_view(),
        name="pick-list-paper",
    ),
    path(
        "late-costings/<int:pk>/", stock_for_sale.LateCostingApiView.as_view(), name="late-costing"
    ),
    path(
        "late-costings/<int:pk>/lines/",
        stock_for_sale.LateCostingLinesApiView.as_view(),
        name="late-costing-lines",
    ),
    path(
        "recall/records/<int:pk>/recall.pdf",
        stock_for_sale.RecallPaperApiView.as_view(),
        name="recall-record-paper",
    ),
    path("certificates/<int:pk>/", stock_for_sale.CertificateApiView.as_view(), name="certificate"),
    path(
        "certificates-by-expiry/",
        stock_for_sale.CertificateStatesApiView.as_view(),
        name="certificates-by-expiry",
    ),
    path(
        "customers/<int:pk>/personal-data/",
        stock_for_sale.PersonalDataApiView.as_view(),
        name="personal-data",
    ),
    path(
        "customers/<int:pk>/personal-data.zip",
        stock_for_sale.PersonalDataFileApiView.as_view(),
        name="personal-data-file",
    ),
    path("today/", today.TodayApiView.as_view(), name="today"),
    path("find/", today.FindApiView.as_view(), name="find"),
    path("bottling-plan/", plans.BottlingPlanApiView.as_view(), name="bottling-plan"),
    path("when-to-stop/", plans.WhenToStopApiView.as_view(), name="when-to-stop"),
    path("season-plan/", plans.SeasonPlanApiView.as_view(), name="season-plan"),
    path("price-trial/", plans.PriceTrialApiView.as_view(), name="price-trial"),
    path("me/", house_records.SignedInPersonApiView.as_view(), name="me"),
    path("people/", house_records.PeopleApiView.as_view(), name="people"),
    path("people/<int:pk>/", house_records.PersonApiView.as_view(), name="person"),
    path("changes/", house_records.TrailApiView.as_view(), name="changes"),
    path("backups/<int:pk>/", house_records.BackupApiView.as_view(), name="backup"),
    path("backups/<int:pk>/file/", house_records.BackupFileApiView.as_view(), name="backup-file"),
    path("system/", house_records.ServiceStateApiView.as_view(), name="system"),
    path("export/", house_records.ExportApiView.as_view(), name="export"),
    path("export/file/", house_records.ExportFileApiView.as_view(), name="export-file"),
    path("import-kinds/", house_records.ListKindsApiView.as_view(), name="import-kinds"),
]
