"""Pages for who lost a password, and for the owner who helps."""

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required, permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from apiary_sales.accounts import access
from apiary_sales.accounts.models import User
from apiary_sales.accounts.password_forms import (
    LostPasswordForm,
    NewPasswordForm,
    OwnSignInEmailForm,
    SignInEmailForm,
)
from apiary_sales.accounts.services import lost_passwords, people
from inventory.shared.errors import HouseError

manages_people = permission_required("accounts.manage_people", raise_exception=True)


def site_of(request: HttpRequest) -> str:
    """Return how the site was reached, as https://house.example; ALLOWED_HOSTS has judged it."""
    return f"{request.scheme}://{request.get_host()}"


@login_not_required
@never_cache
def lost_password(request: HttpRequest) -> HttpResponse:
    """Take a name, and say the same whoever it is."""
    form = LostPasswordForm(request.POST or None)
    if form.is_valid():
        try:
            lost_passwords.ask(
                name=form.cleaned_data["name"],
                site=site_of(request),
                address=request.META.get("REMOTE_ADDR", ""),
            )
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(
                request,
                _(
                    "If this name has an e-mail address, a link is on its way there. It works "
                    "once, for %(hours)s hours."
                )
                % {"hours": lost_passwords.hours()},
            )
            return redirect("accounts:sign_in")
    context = {"form": form, "sends": lost_passwords.is_mail_set()}
    status = 422 if form.errors else 200
    return render(request, "accounts/lost_password.html", context, status=status)


@method_decorator(login_not_required, name="dispatch")
class NewPasswordView(auth_views.PasswordResetConfirmView):
    """Where the link leads: Django checks it, and moves its token out of the address."""

    template_name = "accounts/new_password.html"
    form_class = NewPasswordForm
    token_generator = lost_passwords.LINKS
    success_url = reverse_lazy("accounts:sign_in")

    def form_valid(self, form: Any) -> HttpResponse:
        # Django shows the form of a valid link alone, which is of a person.
        person = cast(User, self.user)
        # This session, which has the token of the link, ends like all others.
        logout(self.request)
        people.reset_password(person=person, password=form.cleaned_data["new_password1"])
        messages.success(
            self.request,
            _("Your new password is set. You are signed out everywhere else; sign in with it."),
        )
        return redirect(self.get_success_url())


@manages_people
@require_POST
@never_cache
def password_link(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a link for a person who lost the password, or send it by e-mail."""
    person = get_object_or_404(User, pk=pk)
    try:
        if "send" in request.POST:
            lost_passwords.send(person=person, site=site_of(request))
            messages.success(
                request, _("A link is on its way to %(email)s.") % {"email": person.email}
            )
            return redirect("accounts:person", pk=pk)
        link = lost_passwords.link_for(person=person, site=site_of(request))
    except HouseError as error:
        messages.error(request, error.message)
        return redirect("accounts:person", pk=pk)
    context = {"person": person, "link": link, "hours": lost_passwords.hours()}
    return render(request, "accounts/password_link.html", context)


@manages_people
def person_email(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter the e-mail address of a person."""
    person = get_object_or_404(User, pk=pk)
    form = SignInEmailForm(request.POST or None, initial={"email": person.email})
    return _email_page(request, person, form, back="accounts:person", arguments=[pk])


def own_email(request: HttpRequest) -> HttpResponse:
    """Enter one's own e-mail address."""
    me = access.me(request)
    form = OwnSignInEmailForm(
        request.POST or None, initial={"email": me.email}, request=request, person=me
    )
    return _email_page(request, me, form, back="accounts:account", arguments=[])


def _email_page(
    request: HttpRequest, person: User, form: SignInEmailForm, *, back: str, arguments: list[int]
) -> HttpResponse:
    if form.is_valid():
        try:
            people.set_email(person=person, email=form.cleaned_data["email"])
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("The e-mail address is kept."))
            return redirect(back, *arguments)
    context = {"form": form, "person": person, "is_own": back == "accounts:account"}
    status = 422 if form.errors else 200
    return render(request, "accounts/email.html", context, status=status)
