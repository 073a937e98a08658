from django.urls import path

from apiary_sales.billing.views import credits, money, service_bills, stand, stand_weight

app_name = "billing"

urlpatterns = [
    path("stand/", stand.StandView.as_view(), name="stand"),
    path("stand/weight/", stand_weight.SellByWeightView.as_view(), name="stand_weight"),
    path("stand/sales/", stand.record_sale, name="stand_sales"),
    path("stand/worker.js", stand.worker, name="stand_worker"),
    path("stand/app.webmanifest", stand.manifest, name="stand_manifest"),
    path("stand/receipts/", stand.receipt_list, name="receipt_list"),
    path("stand/receipts/<int:pk>/", stand.receipt, name="receipt"),
    path("stand/receipts/<int:pk>/pdf/", stand.receipt_pdf, name="receipt_pdf"),
    path("stand/receipts/<int:pk>/undo/", stand.TakeBackView.as_view(), name="receipt_undo"),
    path("money/", money.overview, name="money"),
    path("money/invoices/", money.invoice_list, name="invoice_list"),
    path("money/invoices/new/<str:number>/", money.IssueView.as_view(), name="invoice_create"),
    path("money/invoices/<int:pk>/", money.invoice_detail, name="invoice_detail"),
    path("money/invoices/<int:pk>/pdf/", money.invoice_pdf, name="invoice_pdf"),
    path("money/invoices/<int:pk>/credit/", credits.CreditView.as_view(), name="invoice_credit"),
    path("money/invoices/<int:pk>/correct/", credits.CorrectView.as_view(), name="invoice_correct"),
    path("money/goods-back/<str:number>/", credits.GoodsBackView.as_view(), name="goods_back"),
    path(
        "money/invoices/<int:pk>/deposit/",
        credits.DepositView.as_view(),
        name="deposit_credit",
    ),
    path("money/invoices/<int:pk>/on-account/", money.use_on_account, name="use_on_account"),
    path("money/payments/", money.payment_list, name="payment_list"),
    path("money/payments/new/", money.PaymentView.as_view(), name="payment_create"),
    path("money/payments/<int:pk>/", money.payment_detail, name="payment_detail"),
    path("money/payments/<int:pk>/undo/", money.UndoPaymentView.as_view(), name="payment_undo"),
    path("money/customers/<int:pk>/", money.statement, name="statement"),
    path("money/customers/<int:pk>/pdf/", money.statement_pdf, name="statement_pdf"),
    path("money/customers/<int:pk>/account/", money.customer_account, name="customer_account"),
    path("money/customers/<int:pk>/pay-back/", money.PayBackView.as_view(), name="pay_back"),
    path(
        "money/customers/<int:pk>/service/",
        service_bills.BillServiceView.as_view(),
        name="service_bill",
    ),
    path("money/settings/", money.settings_page, name="settings"),
]
