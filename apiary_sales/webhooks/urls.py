from django.urls import path

from apiary_sales.webhooks import views

app_name = "webhooks"

urlpatterns = [
    path("", views.endpoint_list, name="endpoints"),
    path("add/", views.add_endpoint, name="add"),
    path("<int:pk>/", views.endpoint_detail, name="endpoint"),
    path("<int:pk>/change/", views.ChangeEndpointView.as_view(), name="change"),
    path("<int:pk>/test/", views.send_test, name="test"),
    path("<int:pk>/renew/", views.renew_secret, name="renew"),
    path("<int:pk>/off/", views.switch_off, name="off"),
    path("<int:pk>/on/", views.switch_on, name="on"),
    path("messages/<int:pk>/", views.delivery_detail, name="delivery"),
    path("messages/<int:pk>/again/", views.send_again, name="again"),
]
