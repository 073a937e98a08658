"""The addresses that only read: what the pages show and no act answers with."""

from django.urls import path

from apiary_sales.api import honey_in_hand

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
]
