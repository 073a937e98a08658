"""People who work here: added, given a role and a password, switched off and on."""

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.accounts import roles
from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import sessions, tokens
from inventory.shared.checks import save_checked
from inventory.shared.errors import NotAllowedNow, parameters_named


@transaction.atomic
def add(
    *, username: str, name: str, role: str, password: str, must_change_password: bool = False
) -> User:
    """Add a person who can sign in, and return them.

    Who was given a password by somebody else must choose another one first.
    Raises `BadValue` where the name to sign in with is taken, or a value is missing.
    """
    person = User(
        username=username, first_name=name, role=role, must_change_password=must_change_password
    )
    person.set_password(password)
    with parameters_named(first_name="name"):
        save_checked(person)
    roles.put_in_step(person)
    return person


@transaction.atomic
def change_role(*, person: User, role: str) -> User:
    """Give a person another role, and with it other permissions.

    They sign in again, and their programs need new keys, which may do what the role may.
    Raises `NotAllowedNow` when it would leave the house without an owner, `BadValue` for a role
    there is not.
    """
    person = User.objects.select_for_update().get(pk=person.pk)
    if role != User.Role.OWNER:
        _keep_an_owner(person)
    if role != person.role:
        end_access(person=person)
    person.role = role
    save_checked(person)
    roles.put_in_step(person)
    return person


@transaction.atomic
def reset_password(*, person: User, password: str, must_change_password: bool = False) -> User:
    """Set a new password; every device the person was signed in on must sign in again.

    Their programs need new keys: those that they have end too. Who was given a password by
    somebody else must choose another one first.
    """
    person = User.objects.select_for_update().get(pk=person.pk)
    person.set_password(password)
    person.must_change_password = must_change_password
    person.save(update_fields=["password", "must_change_password"])
    end_access(person=person)
    return person


@transaction.atomic
def has_chosen_password(*, person: User) -> User:
    """Keep that a person has a password of their own, which nobody has set for them."""
    person = User.objects.select_for_update().get(pk=person.pk)
    if person.must_change_password:
        person.must_change_password = False
        person.save(update_fields=["must_change_password"])
    return person


@transaction.atomic
def set_email(*, person: User, email: str) -> User:
    """Keep the e-mail address to which a person's link for a new password goes; empty for none."""
    person = User.objects.select_for_update().get(pk=person.pk)
    person.email = email.strip()
    save_checked(person)
    return person


@transaction.atomic
def switch_off(*, person: User) -> User:
    """Keep a person from signing in; what they wrote down stays under their name.

    Where they are signed in and the keys of their programs end for good.
    Raises `NotAllowedNow` when it would leave the house without an owner.
    """
    person = User.objects.select_for_update().get(pk=person.pk)
    _keep_an_owner(person)
    person.is_active = False
    person.save(update_fields=["is_active"])
    end_access(person=person)
    return person


@transaction.atomic
def switch_on(*, person: User) -> User:
    """Let a person sign in again; what ended when they were switched off does not come back."""
    person = User.objects.select_for_update().get(pk=person.pk)
    # One that was begun in the moment of switching off.
    end_access(person=person)
    person.is_active = True
    person.save(update_fields=["is_active"])
    return person


@transaction.atomic
def end_access(*, person: User) -> None:
    """End where a person is signed in, and the keys of their programs."""
    sessions.sign_out_others(person=person, but=None)
    tokens.end_all(person=person)


def _keep_an_owner(person: User) -> None:
    """Refuse what would take the last owner away. Locks the owners, so that two cannot both go."""
    owners = User.objects.select_for_update().filter(role=User.Role.OWNER, is_active=True)
    ids = {owner.pk for owner in owners.order_by("pk")}
    if ids == {person.pk}:
        raise NotAllowedNow(
            _(
                "%(name)s is the only owner. Make another person an owner first; otherwise "
                "nobody can add people."
            )
            % {"name": person.display_name}
        )
