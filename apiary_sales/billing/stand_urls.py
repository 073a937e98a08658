"""Addresses of the stand: the till, its days, receipts, returns, market days, honesty boxes."""

from django.urls import path

from apiary_sales.billing.views import (
    honesty_boxes,
    market_days,
    read_receipts,
    receipts,
    stand,
    stand_app,
    stand_days,
    stand_marks,
    stand_messages,
    stand_pickups,
    stand_returns,
    stand_seller,
    stand_weight,
)

urlpatterns = [
    path("stand/", stand.StandView.as_view(), name="stand"),
    path("stand/weight/", stand_weight.SellByWeightView.as_view(), name="stand_weight"),
    path("stand/data/", stand_messages.data, name="stand_data"),
    path("stand/sales/", stand_messages.record_sale, name="stand_sales"),
    path("stand/undo/", stand_messages.undo_sale, name="stand_undo"),
    path("stand/handed-in/", stand_messages.hand_in, name="stand_handed_in"),
    path("stand/seller/", stand_seller.change_seller, name="stand_seller"),
    path("stand/marks/", stand_marks.mark_list, name="stand_marks"),
    path("stand/marks/short/seen/", stand_marks.SeeShortView.as_view(), name="stand_short_seen"),
    path("stand/marks/<int:pk>/seen/", stand_marks.SeeMarksView.as_view(), name="stand_marks_seen"),
    path("stand/given/", stand_marks.handed_in_list, name="handed_in_sales"),
    path(
        "stand/given/<int:pk>/book/", stand_marks.BookHandedInView.as_view(), name="handed_in_book"
    ),
    path(
        "stand/given/<int:pk>/set-aside/",
        stand_marks.LeaveUnbookedView.as_view(),
        name="handed_in_set_aside",
    ),
    path("stand/worker.js", stand_app.worker, name="stand_worker"),
    path("stand/app.webmanifest", stand_app.manifest, name="stand_manifest"),
    path("stand/days/", stand_days.stand_day_list, name="stand_days"),
    path("stand/days/new/", stand_days.OpenDayView.as_view(), name="stand_day_open"),
    path("stand/days/<int:pk>/", stand_days.stand_day, name="stand_day"),
    path("stand/days/<int:pk>/pdf/", stand_days.stand_day_pdf, name="stand_day_pdf"),
    path("stand/days/<int:pk>/cash/", stand_days.StandCashView.as_view(), name="stand_day_cash"),
    path("stand/days/<int:pk>/close/", stand_days.CloseDayView.as_view(), name="stand_day_close"),
    path(
        "stand/days/<int:pk>/open-again/",
        stand_days.OpenStandDayAgainView.as_view(),
        name="stand_day_open_again",
    ),
    path(
        "stand/days/cash/<int:pk>/undo/",
        stand_days.UndoStandCashView.as_view(),
        name="stand_cash_undo",
    ),
    path("stand/pickups/", stand_pickups.pickup_list, name="stand_pickups"),
    path("stand/pickups/<str:number>/", stand_pickups.PickupView.as_view(), name="stand_pickup"),
    path("stand/pickups/<str:number>/done/", stand_pickups.fetched, name="stand_pickup_done"),
    path(
        "stand/pickups/<str:number>/invoice.pdf",
        stand_pickups.invoice_pdf,
        name="stand_pickup_pdf",
    ),
    path("stand/takings/", stand_days.takings_page, name="stand_takings"),
    path("stand/takings/takings.pdf", stand_days.takings_pdf, name="stand_takings_pdf"),
    path("stand/takings/takings.csv", stand_days.takings_csv, name="stand_takings_csv"),
    path("stand/receipts/", receipts.receipt_list, name="receipt_list"),
    path("stand/receipts/<int:pk>/", receipts.receipt, name="receipt"),
    path("stand/receipts/<int:pk>/pdf/", receipts.receipt_pdf, name="receipt_pdf"),
    path("stand/receipts/<int:pk>/undo/", stand.TakeBackView.as_view(), name="receipt_undo"),
    path(
        "stand/receipts/<int:pk>/back/", stand_returns.ReturnView.as_view(), name="receipt_return"
    ),
    path("stand/returns/", stand_returns.return_request_list, name="return_requests"),
    path("stand/returns/new/", stand_returns.NoReceiptView.as_view(), name="return_no_receipt"),
    path(
        "stand/returns/<int:pk>/", stand_returns.ReturnRequestView.as_view(), name="return_request"
    ),
    path(
        "stand/returns/<int:pk>/decide/", stand_returns.DecideView.as_view(), name="return_decide"
    ),
    path("r/", read_receipts.no_receipt, name="no_read_receipt"),
    path("r/<str:code>/", read_receipts.read_receipt, name="read_receipt"),
    path("stand/market-days/", market_days.market_day_list, name="market_days"),
    path(
        "stand/market-days/new/", market_days.PlanMarketDayView.as_view(), name="market_day_create"
    ),
    path("stand/market-days/<int:pk>/", market_days.market_day, name="market_day"),
    path(
        "stand/market-days/<int:pk>/change/",
        market_days.ChangeMarketDayView.as_view(),
        name="market_day_change",
    ),
    path(
        "stand/market-days/<int:pk>/list/",
        market_days.ListGoodsView.as_view(),
        name="market_day_list_goods",
    ),
    path(
        "stand/market-days/<int:pk>/load-list.pdf",
        market_days.load_list_pdf,
        name="market_load_list_pdf",
    ),
    path(
        "stand/market-days/<int:pk>/load/", market_days.LoadView.as_view(), name="market_day_load"
    ),
    path(
        "stand/market-days/<int:pk>/load/undo/",
        market_days.UndoLoadView.as_view(),
        name="market_day_load_undo",
    ),
    path(
        "stand/market-days/<int:pk>/unload/",
        market_days.UnloadView.as_view(),
        name="market_day_unload",
    ),
    path(
        "stand/market-days/<int:pk>/unload/undo/",
        market_days.UndoUnloadView.as_view(),
        name="market_day_unload_undo",
    ),
    path(
        "stand/market-days/<int:pk>/cost/",
        market_days.MarketCostView.as_view(),
        name="market_day_cost",
    ),
    path(
        "stand/market-days/<int:pk>/close/",
        market_days.CloseMarketDayView.as_view(),
        name="market_day_close",
    ),
    path(
        "stand/market-days/<int:pk>/cancel/",
        market_days.CancelMarketDayView.as_view(),
        name="market_day_cancel",
    ),
    path("stand/honesty-boxes/", honesty_boxes.box_list, name="honesty_boxes"),
    path(
        "stand/honesty-boxes/new/",
        honesty_boxes.SetUpBoxView.as_view(),
        name="honesty_box_create",
    ),
    path("stand/honesty-boxes/<int:pk>/", honesty_boxes.box, name="honesty_box"),
    path(
        "stand/honesty-boxes/<int:pk>/count/",
        honesty_boxes.CountBoxView.as_view(),
        name="honesty_box_count",
    ),
    path(
        "stand/honesty-boxes/<int:pk>/put-away/",
        honesty_boxes.PutBoxAwayView.as_view(),
        name="honesty_box_put_away",
    ),
    path(
        "stand/honesty-boxes/counts/<int:pk>/undo/",
        honesty_boxes.UndoCountView.as_view(),
        name="honesty_count_undo",
    ),
]
