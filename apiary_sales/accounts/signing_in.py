"""The two steps of signing in: what a session holds between them, and devices that are remembered.

After the right password alone nobody is signed in: a new session holds the person's number, for
five minutes. It is replaced by another one when the code is right.
"""

import time

from django.conf import settings
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from apiary_sales.accounts import locks
from apiary_sales.accounts.models import User
from apiary_sales.accounts.second_step_models import SecondStep
from apiary_sales.accounts.services import second_steps

# What people are signed in by, however they show who they are.
BACKEND = "django.contrib.auth.backends.ModelBackend"
HALF_WAY = "password_given"
HALF_WAY_SECONDS = 5 * 60
# In the session of who gave the second step too, or has a device that is remembered.
BOTH_STEPS = "both_steps"
REMEMBERED_SECONDS = 30 * 24 * 60 * 60


def needs_code(request: HttpRequest, person: User) -> bool:
    """Tell whether this person is asked for a code after the password."""
    step = _step_of(person)
    return step is not None and not _is_remembered(request, step)


def begin(request: HttpRequest, person: User) -> None:
    """Keep in a new session, for five minutes, whose password was right; sign nobody in."""
    request.session.flush()
    step = _step_of(person)
    request.session[HALF_WAY] = {
        "person": person.pk,
        "until": time.time() + HALF_WAY_SECONDS,
        "mark": second_steps.device_mark(step) if step else "",
    }
    request.session.set_expiry(HALF_WAY_SECONDS)


def half_way(request: HttpRequest) -> User | None:
    """Return whose password was given in this session, None where that is too long ago.

    What ends remembered devices ends this too: another password, a switch-off, signing out
    everywhere.
    """
    kept = request.session.get(HALF_WAY)
    if kept is None or kept["until"] < time.time():
        return None
    person = User.objects.filter(pk=kept["person"], is_active=True).first()
    step = _step_of(person) if person else None
    is_as_it_was = step is not None and second_steps.is_remembered(step, kept.get("mark", ""))
    return person if is_as_it_was else None


def finish(request: HttpRequest, person: User, *, then: str) -> HttpResponse:
    """Sign a person in who gave all that is asked, in a new session, and lead on to a page."""
    request.session.flush()
    login(request, person, backend=BACKEND)
    if SecondStep.objects.filter(person=person).exists():
        request.session[BOTH_STEPS] = True
    response = HttpResponseRedirect(then)
    locks.remember_browser(request, response, person.username)
    return response


def remember(response: HttpResponse, request: HttpRequest, person: User) -> None:
    """Ask for no code on this device for 30 days.

    The cookie ends with another password, with a switch-off of the person or the second step, and
    with `second_steps.forget_devices`.
    """
    if step := _step_of(person):
        response.set_signed_cookie(
            _cookie_name(person),
            second_steps.device_mark(step),
            salt=BOTH_STEPS,
            max_age=REMEMBERED_SECONDS,
            path="/account/",
            secure=request.is_secure(),
            httponly=True,
            samesite="Lax",
        )


def _is_remembered(request: HttpRequest, step: SecondStep) -> bool:
    mark = request.get_signed_cookie(
        _cookie_name(step.person), "", salt=BOTH_STEPS, max_age=REMEMBERED_SECONDS
    )
    return second_steps.is_remembered(step, mark or "")


def _cookie_name(person: User) -> str:
    # One a person, since several share a computer; and another one in a demo beside a house. The
    # prefix is for cookies of the whole site, and this one is sent to the account pages alone.
    name = settings.SESSION_COOKIE_NAME.removeprefix(settings.COOKIE_PREFIX)
    return f"{name}_remembered_{person.pk}"


def _step_of(person: User) -> SecondStep | None:
    return SecondStep.objects.select_related("person").filter(person=person).first()
