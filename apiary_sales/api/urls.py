from django.urls import path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from apiary_sales.api import (
    blends,
    bottling,
    bottling_days,
    buying,
    cleaning,
    comb,
    corrections,
    counts,
    credit_notes,
    drums,
    emails,
    files,
    fill_checks,
    flow,
    goods,
    holds,
    honey_of_others,
    jars,
    late_costs,
    ledger_accounts,
    market_days,
    measurements,
    money,
    money_moves,
    opening_stock,
    orders,
    papers,
    parts,
    products,
    recall,
    recall_records,
    reports,
    selling_papers,
    service_bills,
    sessions,
    shortages,
    stand_days,
    stand_pickups,
    stand_returns,
    structured_invoices,
    taxes,
    tokens,
    trade,
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
        "invoices/<int:pk>/returns/",
        stand_returns.StandReturnsApiView.as_view(),
        name="stand-returns",
    ),
    path(
        "invoices/<int:pk>/return-requests/",
        stand_returns.ReturnAskApiView.as_view(),
        name="return-ask",
    ),
    path("return-requests/", stand_returns.ReturnRequestsApiView.as_view(), name="return-requests"),
    path(
        "return-requests/without-receipt/",
        stand_returns.NoReceiptApiView.as_view(),
        name="return-no-receipt",
    ),
    path(
        "return-requests/<int:pk>/",
        stand_returns.ReturnRequestApiView.as_view(),
        name="return-request",
    ),
    path(
        "return-requests/<int:pk>/approve/",
        stand_returns.ReturnApproveApiView.as_view(),
        name="return-approve",
    ),
    path(
        "return-requests/<int:pk>/refuse/",
        stand_returns.ReturnRefuseApiView.as_view(),
        name="return-refuse",
    ),
    path(
        "return-requests/<int:pk>/give-back/",
        stand_returns.ReturnGiveBackApiView.as_view(),
        name="return-give-back",
    ),
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
    path("parts/<slug:code>/quote/", parts.PartQuoteApiView.as_view(), name="part-quote"),
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
    path("purchase-orders/", buying.PurchaseOrdersApiView.as_view(), name="purchase-orders"),
    path(
        "purchase-orders/<str:number>/",
        buying.PurchaseOrderApiView.as_view(),
        name="purchase-order",
    ),
    path(
        "purchase-orders/<str:number>/close/",
        buying.PurchaseOrderCloseApiView.as_view(),
        name="purchase-order-close",
    ),
    path(
        "purchase-orders/<str:number>/order.pdf",
        buying.PurchaseOrderPaperApiView.as_view(),
        name="purchase-order-paper",
    ),
    path(
        "purchase-orders/<str:number>/receive/",
        buying.PurchaseReceiveApiView.as_view(),
        name="purchase-receive",
    ),
    path(
        "purchase-orders/<str:number>/link/",
        buying.PurchaseLinkApiView.as_view(),
        name="purchase-link",
    ),
    path("supplier-bills/", buying.SupplierBillsApiView.as_view(), name="supplier-bills"),
    path("supplier-bills/<int:pk>/", buying.SupplierBillApiView.as_view(), name="supplier-bill"),
    path(
        "supplier-bills/<int:pk>/undo/",
        buying.SupplierBillUndoApiView.as_view(),
        name="supplier-bill-undo",
    ),
    path("supplier-payments/", buying.SupplierPaymentsApiView.as_view(), name="supplier-payments"),
    path(
        "supplier-payments/<int:pk>/",
        buying.SupplierPaymentApiView.as_view(),
        name="supplier-payment",
    ),
    path(
        "supplier-payments/<int:pk>/undo/",
        buying.SupplierPaymentUndoApiView.as_view(),
        name="supplier-payment-undo",
    ),
    path("supplier-balances/", buying.SupplierBalancesApiView.as_view(), name="supplier-balances"),
    path("expenses/", buying.ExpensesApiView.as_view(), name="expenses"),
    path("expenses/<int:pk>/", buying.ExpenseApiView.as_view(), name="expense"),
    path("expenses/<int:pk>/undo/", buying.ExpenseUndoApiView.as_view(), name="expense-undo"),
    path(
        "recurring-expenses/", buying.RecurringExpensesApiView.as_view(), name="recurring-expenses"
    ),
    path(
        "recurring-expenses/<int:pk>/",
        buying.RecurringExpenseApiView.as_view(),
        name="recurring-expense",
    ),
    path(
        "recurring-expenses/<int:pk>/enter/",
        buying.RecurringEnterApiView.as_view(),
        name="recurring-enter",
    ),
    path(
        "recurring-expenses/<int:pk>/skip/",
        buying.RecurringSkipApiView.as_view(),
        name="recurring-skip",
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
    path("orders/<str:number>/hand-over/", drums.HandOverApiView.as_view(), name="order-hand-over"),
    path(
        "orders/<str:number>/pick-up/",
        stand_pickups.StandPickupApiView.as_view(),
        name="stand-pickup",
    ),
    path("fulfilments/<int:pk>/delivery/", drums.DeliveryApiView.as_view(), name="delivery"),
    path(
        "fulfilments/<int:pk>/<slug:paper>.pdf",
        drums.DeliveryPaperApiView.as_view(),
        name="delivery-paper",
    ),
    path("drums-out/", drums.DrumsOutApiView.as_view(), name="drums-out"),
    path("drums/<slug:code>/history/", drums.DrumHistoryApiView.as_view(), name="drum-history"),
    path("drum-returns/", drums.DrumReturnsApiView.as_view(), name="drum-returns"),
    path("drums-lost/", drums.DrumsLostApiView.as_view(), name="drums-lost"),
    path(
        "returned-drums/<int:pk>/keep-deposit/",
        drums.KeepDepositApiView.as_view(),
        name="keep-deposit",
    ),
    path(
        "kept-deposits/<int:pk>/undo/",
        drums.GiveUpKeepingApiView.as_view(),
        name="keep-deposit-undo",
    ),
    path(
        "customers/<int:pk>/deposit-refunds/",
        drums.DepositRefundsApiView.as_view(),
        name="deposit-refunds",
    ),
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
    path(
        "customers/<int:pk>/addresses/",
        orders.DeliveryAddressesApiView.as_view(),
        name="customer-addresses",
    ),
    path(
        "delivery-addresses/<int:pk>/remove/",
        orders.DeliveryAddressRemoveApiView.as_view(),
        name="delivery-address-remove",
    ),
    path("orders-taken/", orders.OrdersTakeApiView.as_view(), name="orders-taken"),
    path("orders/<str:number>/change/", orders.OrderChangeApiView.as_view(), name="order-change"),
    path(
        "orders/<str:number>/substitute/",
        orders.OrderSubstituteApiView.as_view(),
        name="order-substitute",
    ),
    path(
        "orders/<str:number>/reserve-missing/",
        orders.OrderReserveMissingApiView.as_view(),
        name="order-reserve-missing",
    ),
    path("orders/<str:number>/cancel/", orders.OrderCancelApiView.as_view(), name="order-cancel"),
    path("quotes-made/", orders.QuotesApiView.as_view(), name="quotes"),
    path("quotes/<str:number>/accept/", orders.QuoteAcceptApiView.as_view(), name="quote-accept"),
    path(
        "quotes/<str:number>/decline/", orders.QuoteDeclineApiView.as_view(), name="quote-decline"
    ),
    path(
        "quotes/<str:number>/withdraw/",
        orders.QuoteWithdrawApiView.as_view(),
        name="quote-withdraw",
    ),
    path(
        "orders/<str:number>/quote.pdf",
        selling_papers.QuotePaperApiView.as_view(),
        name="quote-paper",
    ),
    path(
        "orders/<str:number>/confirmation.pdf",
        selling_papers.ConfirmationApiView.as_view(),
        name="order-confirmation",
    ),
    path(
        "orders/<str:number>/pro-forma.pdf",
        selling_papers.ProFormaApiView.as_view(),
        name="pro-forma",
    ),
    path(
        "invoices/<int:pk>/invoice.pdf",
        selling_papers.InvoicePaperApiView.as_view(),
        name="invoice-paper",
    ),
    path(
        "payment-receipt-<int:pk>.pdf",
        selling_papers.PaymentPaperApiView.as_view(),
        name="payment-paper",
    ),
    path(
        "customers/<int:pk>/statement.pdf",
        selling_papers.StatementPaperApiView.as_view(),
        name="statement-paper",
    ),
    path("orders/<str:number>/files/", files.OrderFilesView.as_view(), name="order-files"),
    path("files/<int:pk>/", files.FileView.as_view(), name="file"),
    path("emails/", emails.EmailsApiView.as_view(), name="emails"),
    path("emails/<int:pk>/", emails.EmailApiView.as_view(), name="email"),
    path("emails/<int:pk>/again/", emails.EmailAgainApiView.as_view(), name="email-again"),
    path("emails/<int:pk>/came-back/", emails.EmailBounceApiView.as_view(), name="email-bounce"),
    path("email-papers/<int:pk>/", emails.EmailPaperApiView.as_view(), name="email-paper"),
    path("email-texts/", emails.EmailTextsApiView.as_view(), name="email-texts"),
    path("email-texts/usual/", emails.UsualTextApiView.as_view(), name="email-text-usual"),
    path("reminders/", emails.RemindersApiView.as_view(), name="reminders"),
    path("reminder-plan/", emails.ReminderPlanApiView.as_view(), name="reminder-plan"),
    path(
        "customers/<int:pk>/reminder-pauses/",
        emails.ReminderPausesApiView.as_view(),
        name="reminder-pauses",
    ),
    path(
        "reminder-pauses/<int:pk>/end/",
        emails.ReminderPauseEndApiView.as_view(),
        name="reminder-pause-end",
    ),
    path("honey-flow/", flow.HoneyFlowApiView.as_view(), name="honey-flow"),
    path(
        "honey-flow/<slug:band>/",
        flow.HoneyFlowEntriesApiView.as_view(),
        name="honey-flow-entries",
    ),
    path("payments/", money.PaymentsApiView.as_view(), name="payments"),
    path("payments/<int:pk>/undo/", money.PaymentUndoApiView.as_view(), name="payment-undo"),
    path(
        "payments/<int:pk>/bounced/", money.PaymentBounceApiView.as_view(), name="payment-bounced"
    ),
    path("payments/<int:pk>/good/", money.PaymentGoodApiView.as_view(), name="payment-good"),
    path("customers/<int:pk>/pay-back/", money.PayBackApiView.as_view(), name="pay-back"),
    path("customers/<int:pk>/interest/", money.InterestApiView.as_view(), name="interest"),
    path("invoices/<int:pk>/refund/", money.RefundApiView.as_view(), name="refund"),
    path("invoices/<int:pk>/adjust/", money.AdjustApiView.as_view(), name="adjust"),
    path(
        "invoices/<int:pk>/take-back/",
        money.OpeningTakeBackApiView.as_view(),
        name="opening-take-back",
    ),
    path(
        "adjustments/<int:pk>/undo/", money.AdjustmentUndoApiView.as_view(), name="adjustment-undo"
    ),
    path("deposit-slips/", money.DepositSlipsApiView.as_view(), name="deposit-slips"),
    path("deposit-slips/<int:pk>/undo/", money.DepositUndoApiView.as_view(), name="deposit-undo"),
    path("market-days/", market_days.MarketDaysApiView.as_view(), name="market-days"),
    path("market-days/<int:pk>/", market_days.MarketDayApiView.as_view(), name="market-day"),
    path(
        "market-days/<int:pk>/change/",
        market_days.MarketChangeApiView.as_view(),
        name="market-day-change",
    ),
    path(
        "market-days/<int:pk>/goods/",
        market_days.MarketGoodsApiView.as_view(),
        name="market-day-goods",
    ),
    path(
        "market-days/<int:pk>/load/",
        market_days.MarketLoadApiView.as_view(),
        name="market-day-load",
    ),
    path(
        "market-days/<int:pk>/load/undo/",
        market_days.MarketLoadUndoApiView.as_view(),
        name="market-day-load-undo",
    ),
    path(
        "market-days/<int:pk>/unload/",
        market_days.MarketUnloadApiView.as_view(),
        name="market-day-unload",
    ),
    path(
        "market-days/<int:pk>/unload/undo/",
        market_days.MarketUnloadUndoApiView.as_view(),
        name="market-day-unload-undo",
    ),
    path(
        "market-days/<int:pk>/costs/",
        market_days.MarketCostApiView.as_view(),
        name="market-day-costs",
    ),
    path(
        "market-days/<int:pk>/close/",
        market_days.MarketCloseApiView.as_view(),
        name="market-day-close",
    ),
    path(
        "market-days/<int:pk>/cancel/",
        market_days.MarketCancelApiView.as_view(),
        name="market-day-cancel",
    ),
    path("honesty-boxes/", market_days.HonestyBoxesApiView.as_view(), name="honesty-boxes"),
    path(
        "honesty-boxes/<int:pk>/put-away/",
        market_days.HonestyBoxPutAwayApiView.as_view(),
        name="honesty-box-put-away",
    ),
    path(
        "honesty-boxes/<int:pk>/counts/",
        market_days.HonestyCountsApiView.as_view(),
        name="honesty-box-counts",
    ),
    path(
        "honesty-counts/<int:pk>/undo/",
        market_days.HonestyCountUndoApiView.as_view(),
        name="honesty-count-undo",
    ),
    path("money-moves/", money_moves.MoneyMovesApiView.as_view(), name="money-moves"),
    path("money-moves/<int:pk>/", money_moves.MoneyMoveApiView.as_view(), name="money-move"),
    path(
        "money-moves/<int:pk>/undo/",
        money_moves.MoneyMoveUndoApiView.as_view(),
        name="money-move-undo",
    ),
    path("cash-counts/", money.CashCountsApiView.as_view(), name="cash-counts"),
    path(
        "cash-counts/<int:pk>/undo/", money.CashCountUndoApiView.as_view(), name="cash-count-undo"
    ),
    path("stand-days/", stand_days.StandDaysApiView.as_view(), name="stand-days"),
    path("stand-days/<int:pk>/", stand_days.StandDayApiView.as_view(), name="stand-day"),
    path("stand-days/<int:pk>/cash/", stand_days.StandCashApiView.as_view(), name="stand-cash"),
    path(
        "stand-days/<int:pk>/close/",
        stand_days.StandDayCloseApiView.as_view(),
        name="stand-day-close",
    ),
    path(
        "stand-cash/<int:pk>/undo/",
        stand_days.StandCashUndoApiView.as_view(),
        name="stand-cash-undo",
    ),
    path(
        "stand-day-closes/<int:pk>/undo/",
        stand_days.StandDayCloseUndoApiView.as_view(),
        name="stand-day-close-undo",
    ),
    path("cash-book/", money.CashBookApiView.as_view(), name="cash-book"),
    path("opening-invoices/", money.OpeningInvoicesApiView.as_view(), name="opening-invoices"),
    path("opening-credits/", money.OpeningCreditsApiView.as_view(), name="opening-credits"),
    path("opening-amounts/", money.OpeningAmountsApiView.as_view(), name="opening-amounts"),
    path(
        "opening-amounts/<int:pk>/undo/",
        money.OpeningAmountUndoApiView.as_view(),
        name="opening-amount-undo",
    ),
    path("first-numbers/", money.FirstNumbersApiView.as_view(), name="first-numbers"),
    path("opening-jars/", opening_stock.OpeningJarsApiView.as_view(), name="opening-jars"),
    path("reports/", reports.ReportListView.as_view(), name="reports"),
    path("reports/<slug:slug>/", reports.ReportView.as_view(), name="report"),
    path("reports/<slug:slug>.csv", reports.ReportCsvView.as_view(), name="report-csv"),
    path("accounts/", ledger_accounts.AccountsApiView.as_view(), name="accounts"),
    path("accounts/<str:key>/", ledger_accounts.AccountApiView.as_view(), name="account"),
    path("books/close/", ledger_accounts.CloseBooksApiView.as_view(), name="books-close"),
    path("books/open-again/", ledger_accounts.OpenBooksApiView.as_view(), name="books-open"),
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
    path(
        "consignment-shelves/",
        trade.ConsignmentShelvesApiView.as_view(),
        name="consignment-shelves",
    ),
    path(
        "consignment-shelves/<slug:code>/",
        trade.ConsignmentShelfApiView.as_view(),
        name="consignment-shelf",
    ),
    path(
        "consignment-shelves/<slug:code>/prices/",
        trade.ConsignmentPricesApiView.as_view(),
        name="consignment-prices",
    ),
    path(
        "consignment-shelves/<slug:code>/deliveries/",
        trade.ConsignmentDeliveriesApiView.as_view(),
        name="consignment-deliveries",
    ),
    path(
        "consignment-shelves/<slug:code>/bring-back/",
        trade.ConsignmentBringBackApiView.as_view(),
        name="consignment-bring-back",
    ),
    path(
        "consignment-shelves/<slug:code>/reports/",
        trade.ConsignmentReportsApiView.as_view(),
        name="consignment-reports",
    ),
    path(
        "consignment-deliveries/",
        trade.ConsignmentDeliveryListApiView.as_view(),
        name="consignment-delivery-list",
    ),
    path(
        "consignment-deliveries/<str:number>/",
        trade.ConsignmentDeliveryApiView.as_view(),
        name="consignment-delivery",
    ),
    path(
        "consignment-deliveries/<str:number>/deliver/",
        trade.ConsignmentDeliverApiView.as_view(),
        name="consignment-deliver",
    ),
    path(
        "consignment-deliveries/<str:number>/cancel/",
        trade.ConsignmentCancelApiView.as_view(),
        name="consignment-cancel",
    ),
    path(
        "consignment-deliveries/<str:number>/paper.pdf",
        trade.ConsignmentPaperApiView.as_view(),
        name="consignment-paper",
    ),
    path(
        "sold-without-cost/",
        late_costs.SoldWithoutCostApiView.as_view(),
        name="sold-without-cost",
    ),
    path("late-costings/", late_costs.LateCostingsApiView.as_view(), name="late-costings"),
    path(
        "late-costings/<int:pk>/undo/",
        late_costs.LateCostingUndoApiView.as_view(),
        name="late-costing-undo",
    ),
    path("contracts/", trade.ContractsApiView.as_view(), name="contracts"),
    path("contracts/<str:number>/", trade.ContractApiView.as_view(), name="contract"),
    path("contracts/<str:number>/end/", trade.ContractEndApiView.as_view(), name="contract-end"),
    path(
        "contracts/<str:number>/samples/",
        trade.ContractSamplesApiView.as_view(),
        name="contract-samples",
    ),
    path("contracts/<str:number>/call-offs/", trade.CallOffsApiView.as_view(), name="call-offs"),
    path("standing-orders/", trade.StandingOrdersApiView.as_view(), name="standing-orders"),
    path(
        "standing-orders/due/",
        trade.StandingOrdersDueApiView.as_view(),
        name="standing-orders-due",
    ),
    path(
        "standing-orders/<int:pk>/",
        trade.StandingOrderApiView.as_view(),
        name="standing-order",
    ),
    path(
        "standing-orders/<int:pk>/change/",
        trade.StandingOrderChangeApiView.as_view(),
        name="standing-order-change",
    ),
    path(
        "standing-orders/<int:pk>/pause/",
        trade.StandingOrderPauseApiView.as_view(),
        name="standing-order-pause",
    ),
    path(
        "standing-orders/<int:pk>/leave-out/",
        trade.StandingOrderLeaveOutApiView.as_view(),
        name="standing-order-leave-out",
    ),
    path("delivery-rounds/", trade.RoundsApiView.as_view(), name="delivery-rounds"),
    path(
        "delivery-rounds/<str:number>/",
        trade.RoundChangeApiView.as_view(),
        name="delivery-round",
    ),
    path(
        "delivery-rounds/<str:number>/load-list.pdf",
        trade.LoadListApiView.as_view(),
        name="load-list",
    ),
    path(
        "delivery-rounds/<str:number>/<int:pk>/",
        trade.StopDeliverApiView.as_view(),
        name="round-stop-deliver",
    ),
    path("token/", tokens.TokenView.as_view(), name="token"),
    path("tokens/", tokens.TokenListView.as_view(), name="tokens"),
    path("tokens/<int:pk>/revoke/", tokens.TokenRevokeView.as_view(), name="token-revoke"),
    path("sessions/", sessions.SessionListView.as_view(), name="sessions"),
    path("sessions/sign-out-others/", sessions.OthersSignOutView.as_view(), name="sign-out-others"),
    path("sessions/<int:pk>/sign-out/", sessions.SignOutView.as_view(), name="session-sign-out"),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
]
