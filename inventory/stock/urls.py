"""Addresses of bulk honey (/honey/…), and of goods on shelves, stand and van (/honey/stock/…)."""

from django.urls import path, re_path

from inventory.stock.views import (
    acts,
    convert,
    dips,
    drum_labels,
    overview,
    places,
    postings,
    stores,
)

urlpatterns = [
    path("honey/", overview.overview, name="honey"),
    path("honey/lots/", overview.lot_list, name="lot_list"),
    path("honey/lots/<str:code>/", overview.lot_detail, name="lot_detail"),
    path("honey/receive/", acts.ReceiptView.as_view(), name="receive"),
    path("honey/transfer/", acts.HoneyTransferView.as_view(), name="transfer"),
    path("honey/blend/", acts.BlendView.as_view(), name="blend"),
    path("honey/fill-drum/", acts.DrumFillView.as_view(), name="drum_fill"),
    path("honey/drain/", acts.DrainView.as_view(), name="drain"),
    path("honey/write-off/", acts.WriteOffView.as_view(), name="write_off"),
    path("honey/dip/", dips.choose, name="dip"),
    path("honey/dip/<slug:code>/", dips.DipView.as_view(), name="dip"),
    path("honey/dips/", dips.dip_list, name="dip_list"),
    path("honey/dips/<int:pk>/", dips.dip_detail, name="dip_detail"),
    path("honey/dips/<int:pk>/accept/", dips.DipAcceptView.as_view(), name="dip_accept"),
    path("honey/places/", places.place_list, name="places"),
    path("honey/places/new/", places.place_create, name="place_create"),
    path("honey/places/drums/", places.drums_create, name="drums_create"),
    path("honey/places/<slug:code>/", places.place_detail, name="place_detail"),
    path("honey/places/<slug:code>/edit/", places.place_edit, name="place_edit"),
    path("honey/places/<slug:code>/use/", places.place_use, name="place_use"),
    path("honey/drum-labels/", drum_labels.drum_labels, name="drum_labels"),
    path("honey/drum-labels.pdf", drum_labels.drum_labels_pdf, name="drum_labels_pdf"),
    path("honey/postings/", postings.posting_list, name="posting_list"),
    path("honey/postings/<int:pk>/", postings.posting_detail, name="posting_detail"),
    re_path(
        r"^honey/convert/(?P<what>moisture|colour|weight)/$",
        convert.receipt,
        name="convert_receipt",
    ),
    path("honey/convert/dip/<slug:code>/", convert.dip, name="convert_dip"),
    path("honey/convert/drum/", convert.drum, name="convert_drum"),
    path("honey/convert/capacity/", convert.capacity, name="convert_capacity"),
    path("honey/stock/", stores.stock_list, name="stock_list"),
    path("honey/stock/transfer/", stores.StockTransferView.as_view(), name="stock_transfer"),
    path("honey/stock/write-off/", stores.StockWriteOffView.as_view(), name="stock_write_off"),
    path("honey/stock/count/", stores.StockCountView.as_view(), name="stock_count"),
]
