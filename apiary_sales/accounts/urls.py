from django.contrib.auth.decorators import login_not_required
from django.urls import path
from django.views.i18n import set_language

from apiary_sales.accounts import (
    access_views,
    passkey_views,
    password_views,
    pin_views,
    second_step_views,
    views,
)

app_name = "accounts"

urlpatterns = [
    path("sign-in/", views.SignInView.as_view(), name="sign_in"),
    path("sign-in/code/", second_step_views.SignInCodeView.as_view(), name="sign_in_code"),
    path("sign-in/passkey/", passkey_views.SignInPasskeyView.as_view(), name="sign_in_passkey"),
    path("sign-out/", views.SignOutPageView.as_view(), name="sign_out"),
    path("signed-out/", views.signed_out, name="signed_out"),
    path("language/", login_not_required(set_language), name="language"),
    path("", views.account, name="account"),
    path("password/", views.ChangePasswordView.as_view(), name="password"),
    path("lost-password/", password_views.lost_password, name="lost_password"),
    path(
        "new-password/<uidb64>/<token>/",
        password_views.NewPasswordView.as_view(),
        name="new_password",
    ),
    path("e-mail/", password_views.own_email, name="email"),
    path("people/<int:pk>/password-link/", password_views.password_link, name="password_link"),
    path("people/<int:pk>/e-mail/", password_views.person_email, name="person_email"),
    path("second-step/", second_step_views.second_step, name="second_step"),
    path("second-step/codes/", second_step_views.recovery_codes, name="recovery_codes"),
    path("second-step/off/", second_step_views.switch_off, name="second_step_off"),
    path("second-step/new-phone/", second_step_views.new_phone, name="second_step_new_phone"),
    path("second-step/devices/", second_step_views.forget_devices, name="forget_devices"),
    path(
        "second-step/rule/", second_step_views.SecondStepRuleView.as_view(), name="second_step_rule"
    ),
    path("passkeys/add/", passkey_views.add_passkey, name="add_passkey"),
    path("passkeys/<int:pk>/remove/", passkey_views.remove_passkey, name="remove_passkey"),
    path("pin/", pin_views.OwnPinView.as_view(), name="pin"),
    path("devices/", access_views.own_access, name="access"),
    path("devices/sign-out-others/", access_views.sign_out_others, name="sign_out_others"),
    path("devices/<int:pk>/sign-out/", access_views.sign_out_device, name="sign_out_device"),
    path("programs/add/", access_views.make_key, name="make_key"),
    path("programs/<int:pk>/revoke/", access_views.revoke_key, name="revoke_key"),
    path("changes/", views.changes, name="changes"),
    path("sign-ins/", views.sign_in_list, name="sign_ins"),
    path("sign-ins/unlock/", views.unlock, name="unlock"),
    path("people/", views.people_list, name="people"),
    path("people/add/", views.add_person, name="add_person"),
    path("people/devices/", access_views.people_access, name="people_access"),
    path("people/<int:pk>/", views.person, name="person"),
    path("people/<int:pk>/devices/", access_views.person_access, name="person_access"),
    path("people/<int:pk>/devices/sign-out/", access_views.sign_out_person, name="sign_out_person"),
    path("people/<int:pk>/role/", views.ChangeRoleView.as_view(), name="change_role"),
    path("people/<int:pk>/password/", views.reset_password, name="reset_password"),
    path("people/<int:pk>/pin/", pin_views.PersonPinView.as_view(), name="person_pin"),
    path(
        "people/<int:pk>/second-step/remove/",
        second_step_views.remove,
        name="remove_second_step",
    ),
    path("people/<int:pk>/off/", views.switch_off, name="switch_off"),
    path("people/<int:pk>/on/", views.switch_on, name="switch_on"),
]
