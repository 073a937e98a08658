"""Pages for the second step: at sign-in, on one's own account, and for the owner."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth import REDIRECT_FIELD_NAME
from django.contrib.auth.decorators import login_not_required, permission_required
from django.contrib.auth.views import RedirectURLMixin
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST
from django.views.generic import FormView

from apiary_sales.accounts import access, queries, sealed_keys, sign_in_codes, signing_in
from apiary_sales.accounts.models import User
from apiary_sales.accounts.second_step_forms import (
    MoveSecondStepForm,
    NewRecoveryCodesForm,
    SecondStepRuleForm,
    SetUpSecondStepForm,
    SignInCodeForm,
    SignInRecoveryForm,
    SwitchOffSecondStepForm,
)
from apiary_sales.accounts.second_step_models import SecondStepRule
from apiary_sales.accounts.services import second_steps, sessions, sign_ins
from apiary_sales.accounts.session_store import store_of
from inventory.shared.errors import HouseError
from inventory.shared.forms.acts import HouseForm
from inventory.shared.models import House
from inventory.shared.people import person_of
from inventory.shared.views import ActView

# In the session of who is setting it up: the key, encrypted as it will be in the database.
NEW_KEY = "second_step_key"

manages_people = permission_required("accounts.manage_people", raise_exception=True)


def code_page(next_page: str) -> str:
    """Return the address where the code is asked for; `next_page` is where one was going."""
    asked = f"?{urlencode({REDIRECT_FIELD_NAME: next_page})}" if next_page else ""
    return reverse("accounts:sign_in_code") + asked


@method_decorator(
    [login_not_required, never_cache, sensitive_post_parameters()],
    name="dispatch",
)
class SignInCodeView(RedirectURLMixin, FormView):
    """Ask who gave the right password for a code too."""

    template_name = "accounts/sign_in_code.html"
    form_class = SignInCodeForm
    next_page = "web:today"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        person = signing_in.half_way(request)
        if person is None:
            if request.method == "POST":
                messages.error(
                    request, _("More than five minutes have passed. Sign in from the beginning.")
                )
            return redirect("accounts:sign_in")
        self.person = person
        return super().dispatch(request, *args, **kwargs)

    def get_form_class(self) -> type[HouseForm]:
        return SignInRecoveryForm if "recovery_code" in self.request.POST else SignInCodeForm

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(next=self.get_redirect_url(), **kwargs)
        is_recovery = isinstance(context["form"], SignInRecoveryForm)
        context["app_form"] = SignInCodeForm() if is_recovery else context["form"]
        context["recovery_form"] = context["form"] if is_recovery else SignInRecoveryForm()
        return context

    def form_valid(self, form: HouseForm) -> HttpResponse:
        data = form.cleaned_data
        try:
            second_steps.check(person=self.person, code=data.get("recovery_code") or data["code"])
        except HouseError as error:
            sign_ins.note_wrong_code(self.request, self.person)
            form.refuse(error)
            return self.form_invalid(form)
        response = signing_in.finish(self.request, self.person, then=self.get_success_url())
        if data.get("remember"):
            signing_in.remember(response, self.request, self.person)
        return response

    def form_invalid(self, form: HouseForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


@never_cache
@sensitive_post_parameters()
def second_step(request: HttpRequest) -> HttpResponse:
    """Set the second step up with an app, or show how it is set."""
    me = access.me(request)
    state = queries.second_step_of(me)
    if state.app:
        return render(request, "accounts/second_step.html", {"state": state})
    key = _new_key(request)
    form = SetUpSecondStepForm(request.POST or None, person=me)
    if form.is_valid():
        try:
            codes = second_steps.set_up(person=me, key=key, code=form.cleaned_data["code"])
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("From now on a code is asked for at each sign-in."))
            return _both_steps_from_now(request, codes)
    return _set_up_page(request, form, key, state)


@never_cache
@sensitive_post_parameters()
def new_phone(request: HttpRequest) -> HttpResponse:
    """Take the codes of an app on another phone."""
    me = access.me(request)
    state = queries.second_step_of(me)
    if not state.app:
        return redirect("accounts:second_step")
    key = _new_key(request)
    form = MoveSecondStepForm(request.POST or None, person=me)
    if form.is_valid():
        data = form.cleaned_data
        try:
            codes = second_steps.move(
                person=me, code_before=data["code_before"], key=key, code=data["code"]
            )
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("The codes come from the new phone from now on."))
            return _both_steps_from_now(request, codes)
    return _set_up_page(request, form, key, state)


@never_cache
def recovery_codes(request: HttpRequest) -> HttpResponse:
    """Make new recovery codes, for who has a code still."""
    me = access.me(request)
    form = NewRecoveryCodesForm(request.POST or None)
    if form.is_valid():
        try:
            codes = second_steps.renew_codes(person=me, code=form.cleaned_data["code"])
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("The recovery codes from before no longer count."))
            return _show_codes(request, codes)
    context = {"form": form, "state": queries.second_step_of(me)}
    return render(request, "accounts/new_recovery_codes.html", context, status=_status(form))


@never_cache
@sensitive_post_parameters()
def switch_off(request: HttpRequest) -> HttpResponse:
    me = access.me(request)
    form = SwitchOffSecondStepForm(request.POST or None, person=me)
    if form.is_valid():
        try:
            second_steps.switch_off(person=me, code=form.cleaned_data["code"])
        except HouseError as error:
            form.refuse(error)
        else:
            request.session.pop(signing_in.BOTH_STEPS, None)
            messages.success(request, _("You sign in with the password alone again."))
            return redirect("accounts:account")
    return render(request, "accounts/second_step_off.html", {"form": form}, status=_status(form))


@require_POST
def forget_devices(request: HttpRequest) -> HttpResponse:
    second_steps.forget_devices(person=access.me(request))
    messages.success(request, _("The next sign-in on each of your devices asks for a code."))
    return redirect("accounts:second_step")


class SecondStepRuleView(ActView):
    """Say who must use a second step."""

    permission_required = access.MANAGE_PEOPLE
    form_class = SecondStepRuleForm
    template_name = "accounts/second_step_rule.html"

    def edited(self) -> SecondStepRule:
        return SecondStepRule.current()

    def get_initial(self) -> dict[str, Any]:
        return {"required_for": SecondStepRule.current().required_for}

    def act(self, data: dict[str, Any]) -> SecondStepRule:
        return second_steps.require(required_for=data["required_for"])

    def done_message(self, made: SecondStepRule) -> str:
        return _("Saved. It holds from the next page that each person opens.")

    def next_url(self, made: SecondStepRule) -> str:
        return reverse("accounts:people")


@manages_people
@require_POST
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove the second step of a person who lost phone and codes."""
    person = get_object_or_404(User, pk=pk)
    try:
        second_steps.remove(person=person, removed_by=access.me(request))
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request,
            _("%(name)s signs in with the password alone now.") % {"name": person.display_name},
        )
    return redirect("accounts:person", pk=pk)


def _new_key(request: HttpRequest) -> bytes:
    """Return the key that this session is setting up; the same until it is set up."""
    key = sealed_keys.unseal(request.session.get(NEW_KEY, ""))
    if key is None:
        key = sign_in_codes.new_key()
        request.session[NEW_KEY] = sealed_keys.seal(key)
    return key


def _set_up_page(
    request: HttpRequest,
    form: SetUpSecondStepForm,
    key: bytes,
    state: queries.SecondStepState,
) -> HttpResponse:
    """Show the key, as a picture and in writing, and ask for its first code."""
    import segno

    house = House.current().name or _("Honey house")
    address = sign_in_codes.app_address(key, name=person_of(request).get_username(), house=house)
    context = {
        "form": form,
        "state": state,
        "picture": segno.make(address, micro=False).svg_data_uri(scale=5, light="white"),
        "written_key": sign_in_codes.written_key(key),
    }
    return render(request, "accounts/set_up_second_step.html", context, status=_status(form))


def _both_steps_from_now(request: HttpRequest, codes: list[str]) -> HttpResponse:
    """Count this session as signed in by both steps, and show the recovery codes once.

    All other sessions of the person end: they were begun without the code that counts now.
    """
    del request.session[NEW_KEY]
    request.session.cycle_key()
    request.session[signing_in.BOTH_STEPS] = True
    sessions.sign_out_others(person=access.me(request), but=store_of(request).row)
    return _show_codes(request, codes)


def _show_codes(request: HttpRequest, codes: list[str]) -> HttpResponse:
    return render(request, "accounts/recovery_codes.html", {"codes": codes})


def _status(form: HouseForm) -> int:
    return 422 if form.errors else 200
