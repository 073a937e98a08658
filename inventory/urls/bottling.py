from django.urls import path

from inventory.views import bottling, bottling_parts, bottling_sizes

urlpatterns = [
    path("bottling/", bottling.home, name="bottling"),
    path("bottling/plan/", bottling.RunPlanView.as_view(), name="run_plan"),
    path("bottling/plan/look/", bottling.run_plan_preview, name="run_plan_preview"),
    path("bottling/runs/<slug:number>/", bottling.run_detail, name="run_detail"),
    path(
        "bottling/runs/<slug:number>/record/", bottling.RunRecordView.as_view(), name="run_record"
    ),
    path(
        "bottling/runs/<slug:number>/record/look/",
        bottling.run_record_preview,
        name="run_record_preview",
    ),
    path(
        "bottling/runs/<slug:number>/cancel/", bottling.RunCancelView.as_view(), name="run_cancel"
    ),
    path("bottling/runs/<slug:number>/check/", bottling.FillCheckView.as_view(), name="fill_check"),
    path("bottling/runs/<slug:number>/labels/", bottling.run_labels, name="run_labels"),
    path(
        "bottling/lots/<str:code>/release/", bottling.LotReleaseView.as_view(), name="lot_release"
    ),
    path("bottling/parts/", bottling_parts.part_list, name="part_list"),
    path("bottling/parts/add/", bottling_parts.PartCreateView.as_view(), name="part_create"),
    path("bottling/parts/receive/", bottling_parts.PartReceiveView.as_view(), name="part_receive"),
    path("bottling/parts/<slug:code>/", bottling_parts.part_detail, name="part_detail"),
    path(
        "bottling/parts/<slug:code>/edit/",
        bottling_parts.PartEditView.as_view(),
        name="part_edit",
    ),
    path("bottling/sizes/", bottling_sizes.container_list, name="container_list"),
    path(
        "bottling/sizes/add/", bottling_sizes.ContainerCreateView.as_view(), name="container_create"
    ),
    path("bottling/sizes/usual/", bottling_sizes.container_add_usual, name="container_add_usual"),
    path(
        "bottling/sizes/<slug:code>/",
        bottling_sizes.ContainerEditView.as_view(),
        name="container_edit",
    ),
    path(
        "bottling/sizes/<slug:code>/switch/",
        bottling_sizes.container_switch,
        name="container_switch",
    ),
    path(
        "bottling/settings/",
        bottling_sizes.ProductionSettingsView.as_view(),
        name="production_settings",
    ),
]
