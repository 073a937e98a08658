from http import HTTPStatus
from typing import Any, cast

from django.contrib import admin, messages
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required, permission_required
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse, reverse_lazy
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from apiary_sales.accounts import access, queries, roles, second_step_views, signing_in
from apiary_sales.accounts.forms import (
    AddPersonForm,
    ChangeFilterForm,
    ChangePasswordForm,
    ChangeRoleForm,
    ResetPasswordForm,
    SignInFilterForm,
    SignInForm,
)
from apiary_sales.accounts.models import User
from apiary_sales.accounts.second_step_models import SecondStepRule
from apiary_sales.accounts.services import lost_passwords, people, sessions, sign_ins, tokens
from apiary_sales.accounts.session_store import store_of
from inventory.shared import versions
from inventory.shared.errors import HouseError
from inventory.shared.views import ActView

CHANGES_A_PAGE = 50
SIGN_INS_A_PAGE = 50

manages_people = permission_required("accounts.manage_people", raise_exception=True)


class SignInView(auth_views.LoginView):
    template_name = "accounts/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign the person in, or ask for the code of who has a second step."""
        person = User.objects.get(pk=form.get_user().pk)
        if signing_in.needs_code(self.request, person):
            signing_in.begin(self.request, person)
            return HttpResponseRedirect(second_step_views.code_page(self.get_redirect_url()))
        return signing_in.finish(self.request, person, then=self.get_success_url())

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        response = super().form_invalid(form)
        wait_seconds = cast(SignInForm, form).wait_seconds
        if wait_seconds:
            response.status_code = HTTPStatus.TOO_MANY_REQUESTS
            response.headers["Retry-After"] = str(wait_seconds)
        return response


@login_not_required
def back_office_door(request: HttpRequest) -> HttpResponse:
    """Lead who may use the back office to the page that everybody signs in with."""
    wanted = request.GET.get("next", "")
    if not url_has_allowed_host_and_scheme(wanted, {request.get_host()}, request.is_secure()):
        wanted = reverse("admin:index")
    if not request.user.is_authenticated:
        return redirect_to_login(wanted)
    if not admin.site.has_permission(request):
        raise PermissionDenied
    return HttpResponseRedirect(wanted)


class SignOutPageView(auth_views.LogoutView):
    """Sign out, and have the browser throw away the pages that it kept.

    Not what its scripts stored: among that are sales that wait. The next page removes the rest.
    """

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = super().post(request, *args, **kwargs)
        response.headers["Clear-Site-Data"] = '"cache"'
        return response


@login_not_required
@never_cache
def signed_out(request: HttpRequest) -> HttpResponse:
    """Say that one is signed out, and delete from this device what the stand kept."""
    return render(request, "accounts/signed_out.html")


class ChangePasswordView(auth_views.PasswordChangeView):
    template_name = "accounts/password.html"
    form_class = ChangePasswordForm
    success_url = reverse_lazy("accounts:account")

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"request": self.request}

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        response = super().form_valid(form)
        people.has_chosen_password(person=form.user)
        sessions.sign_out_others(person=form.user, but=store_of(self.request).row)
        tokens.end_all(person=form.user)
        messages.success(
            self.request,
            _(
                "Your password is changed. You are signed out everywhere else, and the keys of "
                "your programs have ended."
            ),
        )
        return response


def account(request: HttpRequest) -> HttpResponse:
    me = access.me(request)
    return render(request, "accounts/account.html", {"second_step": queries.second_step_of(me)})


@manages_people
def people_list(request: HttpRequest) -> HttpResponse:
    context = {"people": queries.everyone(), "second_step_rule": SecondStepRule.current()}
    return render(request, "accounts/people.html", context)


@manages_people
def add_person(request: HttpRequest) -> HttpResponse:
    form = AddPersonForm(request.POST or None)
    if form.is_valid():
        try:
            added = people.add(**form.cleaned_data, must_change_password=True)
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("%(name)s can sign in now.") % {"name": added.display_name})
            return redirect("accounts:people")
    return render(request, "accounts/add_person.html", {"form": form})


@manages_people
def person(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(User, pk=pk)
    return _person_page(request, found)


class ChangeRoleView(ActView):
    """Give a person another role; the form is on the page of the person."""

    permission_required = access.MANAGE_PEOPLE
    http_method_names = ["post"]
    form_class = ChangeRoleForm

    def prepare(self) -> None:
        self.person = get_object_or_404(User, pk=self.kwargs["pk"])

    def edited(self) -> User:
        return self.person

    def get_initial(self) -> dict[str, Any]:
        return {"role": self.person.role}

    def act(self, data: dict[str, Any]) -> User:
        return people.change_role(person=self.person, role=data["role"])

    def done_message(self, made: User) -> str:
        return _("%(name)s now has the role: %(role)s.") % {
            "name": made.display_name,
            "role": made.get_role_display(),
        }

    def next_url(self, made: User) -> str:
        return reverse("accounts:person", args=[self.person.pk])

    def form_invalid(self, form: ChangeRoleForm) -> HttpResponse:
        form.theirs_url = self.next_url(self.person)
        return _person_page(self.request, self.person, role_form=form)


@manages_people
@require_POST
def reset_password(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(User, pk=pk)
    form = ResetPasswordForm(request.POST, person=found)
    if form.is_valid():
        people.reset_password(
            person=found,
            password=form.cleaned_data["password"],
            # Who sets their own has chosen it.
            must_change_password=found.pk != request.user.pk,
        )
        messages.success(request, _("%(name)s has a new password.") % {"name": found.display_name})
        return redirect("accounts:person", pk=pk)
    return _person_page(request, found, password_form=form)


@manages_people
@require_POST
def switch_off(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(User, pk=pk)
    try:
        people.switch_off(person=found)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request, _("%(name)s can no longer sign in.") % {"name": found.display_name}
        )
    return redirect("accounts:person", pk=pk)


@manages_people
@require_POST
def switch_on(request: HttpRequest, pk: int) -> HttpResponse:
    found = people.switch_on(person=get_object_or_404(User, pk=pk))
    messages.success(request, _("%(name)s can sign in again.") % {"name": found.display_name})
    return redirect("accounts:person", pk=pk)


@manages_people
def changes(request: HttpRequest) -> HttpResponse:
    form = ChangeFilterForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    page = Paginator(queries.changes(**wanted), CHANGES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "rows": [queries.TrailEntry.of(entry) for entry in page],
        "is_filtered": any(wanted.values()),
    }
    return render(request, "accounts/changes.html", context)


@manages_people
def sign_in_list(request: HttpRequest) -> HttpResponse:
    form = SignInFilterForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    page = Paginator(queries.sign_ins(**wanted), SIGN_INS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "rows": [queries.SignInRow.of(entry) for entry in page],
        "locked": queries.locked(),
        "is_filtered": any(wanted.values()),
    }
    return render(request, "accounts/sign_ins.html", context)


@manages_people
@require_POST
def unlock(request: HttpRequest) -> HttpResponse:
    """Let a name, or an address, be tried again at once."""
    mark, address = request.POST.get("mark", ""), request.POST.get("address", "")
    if sign_ins.unlock(mark=mark[:32], address=address[:45]):
        messages.success(request, _("It is unlocked: the next try counts as the first."))
    else:
        messages.info(request, _("It was not locked any more."))
    return redirect("accounts:sign_ins")


def _role_form(person: User) -> ChangeRoleForm:
    form = ChangeRoleForm(initial={"role": person.role})
    form.opened_on = versions.stamp(form)
    return form


def _person_page(request, found, *, role_form=None, password_form=None) -> HttpResponse:
    return render(
        request,
        "accounts/person.html",
        {
            "person": found,
            "sells": found.role in roles.that_may(roles.SELL),
            "pin": queries.pin_of(found),
            "second_step": queries.second_step_of(found),
            "sends_links": lost_passwords.is_mail_set(),
            "role_form": role_form or _role_form(found),
            "password_form": password_form or ResetPasswordForm(person=found),
            # The form that was refused, for the summary at the top.
            "refused_form": role_form or password_form,
        },
    )
