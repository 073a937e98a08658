from django.urls import path

from apiary_sales.orders.views import changes, lists, orders, quotes

app_name = "orders"

urlpatterns = [
    path("", lists.selling, name="selling"),
    path("orders/new/", orders.OrderCreateView.as_view(), name="order_create"),
    path("orders/new/total/", orders.order_total, name="order_total"),
    path("orders/<str:number>/", orders.order_detail, name="order_detail"),
    path("orders/<str:number>/fill/", orders.OrderFulfilView.as_view(), name="order_fulfil"),
    path("orders/<str:number>/repick/", orders.OrderRepickView.as_view(), name="order_repick"),
    path("orders/<str:number>/cancel/", orders.OrderCancelView.as_view(), name="order_cancel"),
    path("orders/<str:number>/change/", changes.OrderChangeView.as_view(), name="order_change"),
    path(
        "orders/<str:number>/lines/<int:pk>/substitute/",
        changes.SubstituteView.as_view(),
        name="order_substitute",
    ),
    path(
        "orders/<str:number>/reserve-missing/",
        changes.ReserveMissingView.as_view(),
        name="order_reserve_missing",
    ),
    path("orders/<str:number>/pick-list/", orders.pick_list, name="pick_list"),
    path("orders/<str:number>/pick-list.pdf", orders.pick_list_pdf, name="pick_list_pdf"),
    path("orders/<str:number>/drums-back/", orders.DrumsBackView.as_view(), name="drums_back"),
    path(
        "orders/<str:number>/take-back/<int:pk>/",
        orders.OrderTakeBackView.as_view(),
        name="order_take_back",
    ),
    path("quotes/new/", quotes.QuoteCreateView.as_view(), name="quote_create"),
    path("quotes/new/total/", quotes.quote_total, name="quote_total"),
    path("quotes/new/jars/", quotes.JarQuoteCreateView.as_view(), name="jar_quote_create"),
    path("quotes/<str:number>/decline/", changes.QuoteDeclineView.as_view(), name="quote_decline"),
    path(
        "quotes/<str:number>/withdraw/",
        changes.QuoteWithdrawView.as_view(),
        name="quote_withdraw",
    ),
    path("quotes/<str:number>/accept/", quotes.QuoteAcceptView.as_view(), name="quote_accept"),
    path("quotes/<str:number>/quote.pdf", quotes.quote_pdf, name="quote_pdf"),
    path("stock/", lists.stock_by_size, name="stock"),
    path("stock/<slug:code>/", lists.stock_detail, name="stock_detail"),
    path("customers/<int:pk>/orders/", lists.customer_orders, name="customer_orders"),
    path("lots/<int:pk>/buyers/", lists.lot_buyers, name="lot_buyers"),
]
