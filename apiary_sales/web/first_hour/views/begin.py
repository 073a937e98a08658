"""Where an empty house begins, and where a set-up that was begun goes on."""

from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import first_owner
from apiary_sales.web.first_hour import steps
from apiary_sales.web.first_hour.forms.begin import FirstOwnerForm
from inventory.shared.errors import HouseError


@login_not_required
@never_cache
@sensitive_post_parameters("code", "password", "password_again")
@require_http_methods(["GET", "HEAD", "POST"])
def begin(request: HttpRequest) -> HttpResponse:
    """Ask for the code while there is no person; lead an owner on to the next step."""
    if not User.objects.exists():
        return _first_owner(request)
    if not request.user.is_authenticated:
        return redirect_to_login(request.path)
    if not request.user.has_perm("accounts.manage_people"):
        raise PermissionDenied
    return HttpResponseRedirect(steps.go_on_at())


def _first_owner(request: HttpRequest) -> HttpResponse:
    form = FirstOwnerForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        data = form.cleaned_data
        try:
            person = first_owner.add(
                code=data["code"],
                username=data["username"],
                name=data["name"],
                password=data["password"],
            )
        except HouseError as error:
            form.refuse(error)
        else:
            login(request, person, backend="django.contrib.auth.backends.ModelBackend")
            return HttpResponseRedirect(steps.STEPS[0].url)
    status = 422 if form.errors else 200
    return render(request, "web/set_up/begin.html", {"form": form}, status=status)
