"""Addresses of recalls (/honey/recall/…); `keys` are those of the lots, such as 12-40."""

from django.urls import path

from apiary_sales.orders.views import recall

app_name = "recall"

urlpatterns = [
    path("", recall.home, name="home"),
    path("lots/<str:keys>/", recall.answer, name="answer"),
    path("lots/<str:keys>/recall.csv", recall.answer_csv, name="answer_csv"),
    path("lots/<str:keys>/start/", recall.RecallStartView.as_view(), name="start"),
    path("lots/<str:keys>/hold/", recall.RecallHoldView.as_view(), name="hold"),
    path("lots/<str:keys>/release/", recall.RecallReleaseView.as_view(), name="release"),
    path("records/<int:pk>/", recall.record, name="record"),
    path("records/<int:pk>/recall.pdf", recall.record_pdf, name="record_pdf"),
    path("records/<int:pk>/recall.csv", recall.record_csv, name="record_csv"),
    path("records/<int:pk>/finish/", recall.RecallFinishView.as_view(), name="finish"),
]
