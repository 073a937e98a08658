from django.urls import path

from apiary_sales.orders.views import deliveries, lists, orders, quotes

app_name = "orders"

urlpatterns = [
    path("", lists.selling, name="selling"),
    path("orders/new/", orders.OrderCreateView.as_view(), name="order_create"),
    path("orders/new/total/", orders.order_total, name="order_total"),
    path("orders/<str:number>/", orders.order_detail, name="order_detail"),
    path("orders/<str:number>/fill/", orders.OrderFulfilView.as_view(), name="order_fulfil"),
    path("orders/<str:number>/repick/", orders.OrderRepickView.as_view(), name="order_repick"),
    path("orders/<str:number>/cancel/", orders.OrderCancelView.as_view(), name="order_cancel"),
    path("orders/<str:number>/pick-list/", orders.pick_list, name="pick_list"),
    path("orders/<str:number>/pick-list.pdf", orders.pick_list_pdf, name="pick_list_pdf"),
    path("orders/<str:number>/drums-back/", orders.DrumsBackView.as_view(), name="drums_back"),
    path(
        "orders/<str:number>/take-back/<int:pk>/",
        orders.OrderTakeBackView.as_view(),
        name="order_take_back",
    ),
    path(
        "orders/<str:number>/handed-over/<int:pk>/delivery/",
        deliveries.CarrierView.as_view(),
        name="delivery",
    ),
    path(
        "orders/<str:number>/handed-over/<int:pk>/<slug:paper>/",
        deliveries.delivery_paper,
        name="delivery_paper",
    ),
    path(
        "orders/<str:number>/handed-over/<int:pk>/<slug:paper>.pdf",
        deliveries.delivery_paper_pdf,
        name="delivery_paper_pdf",
    ),
    path("quotes/new/", quotes.QuoteCreateView.as_view(), name="quote_create"),
    path("quotes/new/total/", quotes.quote_total, name="quote_total"),
    path("quotes/<str:number>/accept/", quotes.QuoteAcceptView.as_view(), name="quote_accept"),
    path("quotes/<str:number>/quote.pdf", quotes.quote_pdf, name="quote_pdf"),
    path("stock/", lists.stock_by_size, name="stock"),
    path("stock/<slug:code>/", lists.stock_detail, name="stock_detail"),
    path("customers/<int:pk>/orders/", lists.customer_orders, name="customer_orders"),
    path("lots/<int:pk>/buyers/", lists.lot_buyers, name="lot_buyers"),
]
