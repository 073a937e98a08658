from django.urls import path

from apiary_sales.billing.views import (
    expenses,
    money,
    purchasing,
    service_bills,
    stand,
    stand_weight,
)

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
    path("money/invoices/<int:pk>/credit/", money.CreditView.as_view(), name="invoice_credit"),
    path(
        "money/invoices/<int:pk>/deposit/",
        money.DepositView.as_view(),
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
    path("money/bills/", purchasing.bill_list, name="bill_list"),
    path("money/bills/csv/", purchasing.bill_list_csv, name="bill_list_csv"),
    path("money/bills/new/", purchasing.EnterBillView.as_view(), name="bill_create"),
    path("money/bills/<int:pk>/", purchasing.bill_detail, name="bill"),
    path("money/bills/<int:pk>/undo/", purchasing.UndoBillView.as_view(), name="bill_undo"),
    path("money/suppliers/", purchasing.balances, name="supplier_balances"),
    path("money/suppliers/csv/", purchasing.balances_csv, name="supplier_balances_csv"),
    path(
        "money/suppliers/<int:pk>/pay/", purchasing.PaySupplierView.as_view(), name="supplier_pay"
    ),
    path("money/suppliers/<int:pk>/", purchasing.supplier_account, name="supplier_account"),
    path("money/supplier-payments/", purchasing.payment_list, name="supplier_payment_list"),
    path("money/supplier-payments/csv/", purchasing.payments_csv, name="supplier_payments_csv"),
    path("money/supplier-payments/<int:pk>/", purchasing.payment_detail, name="supplier_payment"),
    path(
        "money/supplier-payments/<int:pk>/undo/",
        purchasing.UndoSupplierPaymentView.as_view(),
        name="supplier_payment_undo",
    ),
    path("money/purchase-orders/", purchasing.order_list, name="purchase_order_list"),
    path(
        "money/purchase-orders/new/",
        purchasing.PlaceOrderView.as_view(),
        name="purchase_order_create",
    ),
    path("money/purchase-orders/<str:number>/", purchasing.order_detail, name="purchase_order"),
    path(
        "money/purchase-orders/<str:number>/change/",
        purchasing.ChangeOrderView.as_view(),
        name="purchase_order_change",
    ),
    path(
        "money/purchase-orders/<str:number>/close/",
        purchasing.CloseOrderView.as_view(),
        name="purchase_order_close",
    ),
    path(
        "money/purchase-orders/<str:number>/pdf/", purchasing.order_pdf, name="purchase_order_pdf"
    ),
    path(
        "money/purchase-orders/<str:number>/receive/",
        purchasing.ReceiveForOrderView.as_view(),
        name="purchase_order_receive",
    ),
    path(
        "money/purchase-orders/<str:number>/link/",
        purchasing.link_delivery,
        name="purchase_order_link",
    ),
    path("money/expenses/", expenses.expense_list, name="expense_list"),
    path("money/expenses/csv/", expenses.expense_list_csv, name="expense_list_csv"),
    path("money/expenses/by-month/", expenses.expense_months_csv, name="expense_months_csv"),
    path("money/expenses/new/", expenses.EnterExpenseView.as_view(), name="expense_create"),
    path("money/expenses/<int:pk>/", expenses.expense_detail, name="expense"),
    path("money/expenses/<int:pk>/undo/", expenses.UndoExpenseView.as_view(), name="expense_undo"),
    path("money/expenses/again/", expenses.recurring_list, name="recurring_list"),
    path("money/expenses/again/new/", expenses.AddRecurringView.as_view(), name="recurring_create"),
    path(
        "money/expenses/again/<int:pk>/",
        expenses.ChangeRecurringView.as_view(),
        name="recurring_change",
    ),
    path("money/expenses/again/<int:pk>/enter/", expenses.recurring_enter, name="recurring_enter"),
    path("money/expenses/again/<int:pk>/skip/", expenses.recurring_skip, name="recurring_skip"),
    path("money/settings/", money.settings_page, name="settings"),
]
