"""Pages of where people are signed in, and of the programs that use their accounts."""

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from apiary_sales.accounts import access
from apiary_sales.accounts.access_forms import ProgramKeyForm
from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import sessions, tokens
from apiary_sales.accounts.session_store import store_of
from inventory.shared.errors import HouseError

manages_people = permission_required(access.MANAGE_PEOPLE, raise_exception=True)


def own_access(request: HttpRequest) -> HttpResponse:
    """Where one is signed in oneself, and one's own programs."""
    return _access_page(request, person=access.me(request))


@manages_people
def people_access(request: HttpRequest) -> HttpResponse:
    """Where everybody is signed in, and the programs of everybody."""
    return _access_page(request, person=None)


@manages_people
def person_access(request: HttpRequest, pk: int) -> HttpResponse:
    """Where another person is signed in, and their programs."""
    return _access_page(request, person=get_object_or_404(User, pk=pk))


@require_POST
def sign_out_device(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign out on one device: one's own, or for an owner anybody's."""
    session = get_object_or_404(access.sessions_seen_by(access.me(request)), pk=pk)
    # All that are seen are somebody's.
    person = cast(User, session.person)
    sessions.sign_out(session=session)
    messages.success(
        request,
        _("%(name)s is signed out there: %(browser)s.")
        % {"name": person.display_name, "browser": session.browser_in_words},
    )
    return _back(request, person)


@require_POST
def sign_out_others(request: HttpRequest) -> HttpResponse:
    """Sign oneself out everywhere but here."""
    me = access.me(request)
    _tell_signed_out(request, me, sessions.sign_out_others(person=me, but=store_of(request).row))
    return redirect("accounts:access")


@manages_people
@require_POST
def sign_out_person(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign another person out everywhere; the owner who asks stays signed in here."""
    person = get_object_or_404(User, pk=pk)
    here = store_of(request).row if person == access.me(request) else None
    _tell_signed_out(request, person, sessions.sign_out_others(person=person, but=here))
    return redirect("accounts:person_access", pk=pk)


def make_key(request: HttpRequest) -> HttpResponse:
    """Make a key for a program, and show it this once."""
    form = ProgramKeyForm(request.POST or None)
    if form.is_valid():
        try:
            token, text = tokens.make(person=access.me(request), **form.cleaned_data)
        except HouseError as error:
            form.refuse(error)
        else:
            return render(request, "accounts/key_made.html", {"token": token, "text": text})
    status = 422 if form.errors else 200
    return render(request, "accounts/make_key.html", {"form": form}, status=status)


@require_POST
def revoke_key(request: HttpRequest, pk: int) -> HttpResponse:
    """End a key: one's own, or for an owner anybody's."""
    token = get_object_or_404(access.tokens_seen_by(access.me(request)), pk=pk)
    tokens.revoke(token=token)
    messages.success(request, _("The key of “%(name)s” no longer works.") % {"name": token.name})
    return _back(request, token.user)


def _access_page(request: HttpRequest, *, person: User | None) -> HttpResponse:
    me = access.me(request)
    live, keys = access.sessions_seen_by(me), access.tokens_seen_by(me)
    if person is not None:
        live, keys = live.filter(person=person), keys.filter(user=person)
    here = store_of(request).row
    return render(
        request,
        "accounts/access.html",
        {
            "sessions": live,
            "tokens": keys,
            "person": person,
            "is_own": person == me,
            "here": here.pk if here else None,
        },
    )


def _tell_signed_out(request: HttpRequest, person: User, count: int) -> None:
    text = ngettext(
        "%(name)s is signed out on %(count)s other device.",
        "%(name)s is signed out on %(count)s other devices.",
        count,
    )
    messages.success(request, text % {"name": person.display_name, "count": count})


def _back(request: HttpRequest, person: User) -> HttpResponse:
    if person == access.me(request):
        return redirect("accounts:access")
    return redirect("accounts:person_access", pk=person.pk)
