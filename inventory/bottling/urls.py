"""Addresses of the bottling room: /bottling/…, the jars' own /j/…, and undoing any posting."""

from django.urls import path

from inventory.bottling.views import jar_pages, jars, labels, parts, reversals, runs, sizes

urlpatterns = [
    path("bottling/", runs.home, name="bottling"),
    path("bottling/plan/", runs.RunPlanView.as_view(), name="run_plan"),
    path("bottling/plan/preview/", runs.run_plan_preview, name="run_plan_preview"),
    path("bottling/runs/<slug:number>/", runs.run_detail, name="run_detail"),
    path("bottling/runs/<slug:number>/record/", runs.RunRecordView.as_view(), name="run_record"),
    path(
        "bottling/runs/<slug:number>/record/preview/",
        runs.run_record_preview,
        name="run_record_preview",
    ),
    path("bottling/runs/<slug:number>/cancel/", runs.RunCancelView.as_view(), name="run_cancel"),
    path("bottling/runs/<slug:number>/check/", runs.FillCheckView.as_view(), name="fill_check"),
    path("bottling/runs/<slug:number>/labels/", labels.run_labels, name="run_labels"),
    path("bottling/runs/<slug:number>/labels.pdf", labels.run_labels_pdf, name="run_labels_pdf"),
    path("bottling/label-sheets/", labels.label_sheet_list, name="label_sheet_list"),
    path(
        "bottling/label-sheets/add/",
        labels.LabelSheetCreateView.as_view(),
        name="label_sheet_create",
    ),
    path(
        "bottling/label-sheets/<slug:code>/",
        labels.LabelSheetEditView.as_view(),
        name="label_sheet_edit",
    ),
    path(
        "bottling/label-sheets/<slug:code>/test.pdf",
        labels.label_sheet_test,
        name="label_sheet_test",
    ),
    path(
        "bottling/lots/<str:code>/<slug:product>/release/",
        runs.LotReleaseView.as_view(),
        name="lot_release",
    ),
    path("bottling/jars/", jars.jar_list, name="jar_list"),
    path("bottling/lots/<str:code>/<slug:product>/jars/", jars.lot_jars, name="lot_jars"),
    path(
        "bottling/lots/<str:code>/<slug:product>/label/",
        jars.LabelView.as_view(),
        name="jars_label",
    ),
    path(
        "bottling/lots/<str:code>/<slug:product>/empty/",
        jars.EmptyView.as_view(),
        name="jars_empty",
    ),
    path(
        "bottling/lots/<str:code>/<slug:product>/came-back/",
        jars.SetAsideView.as_view(),
        name="jars_set_aside",
    ),
    path(
        "bottling/lots/<str:code>/<slug:product>/take-apart/",
        jars.UnboxView.as_view(),
        name="boxes_apart",
    ),
    path("bottling/jars/<int:pk>/", jars.ReturnedView.as_view(), name="jars_returned"),
    path("bottling/boxes/add/", jars.BoxCreateView.as_view(), name="box_create"),
    path("bottling/boxes/<slug:code>/", jars.BoxEditView.as_view(), name="box_edit"),
    path("bottling/boxes/<slug:code>/switch/", jars.box_switch, name="box_switch"),
    path("bottling/boxes/<slug:code>/make/", jars.BoxMakeView.as_view(), name="boxes_make"),
    path("bottling/parts/", parts.part_list, name="part_list"),
    path("bottling/parts/add/", parts.PartCreateView.as_view(), name="part_create"),
    path("bottling/parts/receive/", parts.PartReceiveView.as_view(), name="part_receive"),
    path("bottling/parts/<slug:code>/", parts.part_detail, name="part_detail"),
    path(
        "bottling/parts/<slug:code>/edit/",
        parts.PartEditView.as_view(),
        name="part_edit",
    ),
    path("bottling/sizes/", sizes.size_list, name="size_list"),
    path("bottling/sizes/add/", sizes.SizeCreateView.as_view(), name="size_create"),
    path("bottling/sizes/usual/", sizes.size_add_usual, name="size_add_usual"),
    path(
        "bottling/sizes/<slug:code>/",
        sizes.SizeEditView.as_view(),
        name="size_edit",
    ),
    path(
        "bottling/sizes/<slug:code>/switch/",
        sizes.size_switch,
        name="size_switch",
    ),
    path(
        "bottling/settings/",
        sizes.ProductionSettingsView.as_view(),
        name="production_settings",
    ),
    path(
        "bottling/jar-page/",
        jar_pages.JarPageSettingsView.as_view(),
        name="jar_page_settings",
    ),
    # Printed on jars: these addresses stay as they are.
    path("j/", jar_pages.no_jar_page, name="no_jar_page"),
    path("j/<str:code>/", jar_pages.jar_page, name="jar_page_by_lot"),
    path("j/<str:code>/<slug:product_code>/", jar_pages.jar_page, name="jar_page"),
    path(
        "honey/postings/<int:pk>/undo/", reversals.PostingUndoView.as_view(), name="posting_reverse"
    ),
]
