"""Packed goods and parts on shelves, the stand and the van: /honey/stock/…"""

from django.urls import path

from inventory.views import stock

urlpatterns = [
    path("honey/stock/", stock.stock_list, name="stock_list"),
    path("honey/stock/transfer/", stock.Transfer.as_view(), name="stock_transfer"),
    path("honey/stock/write-off/", stock.WriteOff.as_view(), name="stock_write_off"),
    path("honey/stock/count/", stock.Count.as_view(), name="stock_count"),
]
