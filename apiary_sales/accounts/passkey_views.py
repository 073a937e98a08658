"""Pages for passkeys: add and remove one's own, and sign in with one.

Each page carries what the browser is asked for; `passkeys.js` puts the browser's answer into the
form and sends it.
"""

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import RedirectURLMixin
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST
from django.views.generic import FormView

from apiary_sales.accounts import access, signing_in
from apiary_sales.accounts.second_step_forms import OwnPasswordForm
from apiary_sales.accounts.second_step_models import Passkey
from apiary_sales.accounts.services import passkeys, sign_ins
from apiary_sales.accounts.services.passkeys import PasskeyOptions, Site
from inventory.shared.errors import HouseError
from inventory.shared.forms.acts import HouseForm
from inventory.shared.models import House
from inventory.shared.people import person_of

# In the session: the random text that the browser was asked to sign last.
CHALLENGE = "passkey_challenge"


class PasskeyAnswerField(forms.CharField):
    """What the browser answered, as JSON."""

    widget = forms.HiddenInput

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            max_length=20_000,
            error_messages={"required": gettext_lazy("The browser gave no passkey. Try again.")},
            **kwargs,
        )


class AddPasskeyForm(OwnPasswordForm):
    name = forms.CharField(
        label=gettext_lazy("Name of the passkey"),
        max_length=60,
        help_text=gettext_lazy("Such as “My phone”, so that you find it in the list."),
    )
    answer = PasskeyAnswerField()
    field_order = ["name", "password"]


class SignInPasskeyForm(HouseForm):
    answer = PasskeyAnswerField()


@never_cache
@sensitive_post_parameters()
def add_passkey(request: HttpRequest) -> HttpResponse:
    me, site = access.me(request), _site_of(request)
    challenge = request.session.pop(CHALLENGE, "") if request.method == "POST" else ""
    form = AddPasskeyForm(request.POST or None, person=me)
    if form.is_valid():
        try:
            passkeys.add(
                person=me,
                name=form.cleaned_data["name"],
                answer=form.cleaned_data["answer"],
                challenge=challenge,
                site=site,
            )
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("You can sign in with this passkey now."))
            return redirect("accounts:account")
    house = House.current().name or _("Honey house")
    asked = passkeys.ask_to_add(person=me, site=site, house=house)
    context = {"form": form, "options": _keep(request, asked)}
    status = 422 if form.errors else 200
    return render(request, "accounts/add_passkey.html", context, status=status)


@require_POST
def remove_passkey(request: HttpRequest, pk: int) -> HttpResponse:
    passkey = get_object_or_404(Passkey, pk=pk, person_id=person_of(request).pk)
    passkeys.remove(passkey=passkey)
    messages.success(request, _("The passkey %(name)s is removed.") % {"name": passkey.name})
    return redirect("accounts:account")


@method_decorator([login_not_required, never_cache], name="dispatch")
class SignInPasskeyView(RedirectURLMixin, FormView):
    """Sign in with a passkey, which counts as both steps."""

    template_name = "accounts/sign_in_passkey.html"
    form_class = SignInPasskeyForm
    next_page = "web:today"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.user.is_authenticated:
            return HttpResponseRedirect(self.get_success_url())
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        asked = passkeys.ask_to_sign_in(site=_site_of(self.request))
        return super().get_context_data(
            options=_keep(self.request, asked), next=self.get_redirect_url(), **kwargs
        )

    def form_valid(self, form: SignInPasskeyForm) -> HttpResponse:
        try:
            person = passkeys.check(
                answer=form.cleaned_data["answer"],
                challenge=self.request.session.pop(CHALLENGE, ""),
                site=_site_of(self.request),
            )
        except HouseError as error:
            sign_ins.note_wrong_code(self.request, None)
            form.refuse(error)
            return self.form_invalid(form)
        return signing_in.finish(self.request, person, then=self.get_success_url())

    def form_invalid(self, form: HouseForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


def _site_of(request: HttpRequest) -> Site:
    """Return under which name the site was reached; ALLOWED_HOSTS has judged it."""
    host = request.get_host()
    return Site(name=host.rpartition(":")[0] or host, origin=f"{request.scheme}://{host}")


def _keep(request: HttpRequest, asked: PasskeyOptions) -> str:
    """Keep what has to be signed, and return what the page asks the browser for."""
    request.session[CHALLENGE] = asked.challenge
    return asked.options
