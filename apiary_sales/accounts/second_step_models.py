"""The second step at sign-in: a code of an app, recovery codes, passkeys, and who must use it."""

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import User


class SecondStep(models.Model):
    """The app that gives a person the codes for signing in; it counts from the first right code."""

    person = models.OneToOneField(
        User, on_delete=models.CASCADE, related_name="second_step", verbose_name=_("person")
    )
    # Encrypted with the secret key of the service: see `sealed_keys.py`.
    sealed_key = models.CharField(max_length=200)
    # The 30 seconds, counted from 1970, of the last code: no code of then or before counts again.
    last_step = models.BigIntegerField()
    set_at = models.DateTimeField(_("set"))
    # Signed into the cookie of each remembered device: with another one, none is remembered.
    devices_mark = models.CharField(max_length=22)

    class Meta:
        verbose_name = _("second step at sign-in")
        verbose_name_plural = _("second steps at sign-in")

    def __str__(self) -> str:
        return self.person.display_name


class RecoveryCode(models.Model):
    """A code on paper that is taken once in place of one of the app; only its hash is kept."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="recovery_codes")
    # The same for all codes of a person, so that what was typed is hashed once.
    salt = models.CharField(max_length=22)
    hashed = models.CharField(max_length=64)

    class Meta:
        verbose_name = _("recovery code")
        verbose_name_plural = _("recovery codes")
        constraints = [
            models.UniqueConstraint(fields=["person", "hashed"], name="recovery_code_is_one"),
        ]

    def __str__(self) -> str:
        return self.person.display_name


class Passkey(models.Model):
    """A key in a phone, computer or security key, with which its person signs in at once.

    Only its public half is here.
    """

    person = models.ForeignKey(
        User, on_delete=models.CASCADE, related_name="passkeys", verbose_name=_("person")
    )
    name = models.CharField(_("name"), max_length=60)
    # As the browser writes it, base64url: at most 1,023 bytes.
    credential = models.CharField(max_length=1364, unique=True)
    public_key = models.BinaryField()
    # How often the device says it was used; 0 where it does not count.
    sign_count = models.BigIntegerField(default=0)
    added_at = models.DateTimeField(_("added"))
    used_at = models.DateTimeField(_("last used"), null=True, blank=True)

    class Meta:
        verbose_name = _("passkey")
        verbose_name_plural = _("passkeys")

    def __str__(self) -> str:
        return f"{self.name} ({self.person.display_name})"


class SecondStepRule(models.Model):
    """Who must use a second step at sign-in: one row."""

    class For(models.TextChoices):
        NOBODY = "nobody", _("Nobody: each person chooses")
        OWNERS = "owners", _("Owners")
        OWNERS_AND_OFFICE = "owners_and_office", _("Owners and office")

    ROLES = {
        For.NOBODY: frozenset(),
        For.OWNERS: frozenset({User.Role.OWNER}),
        For.OWNERS_AND_OFFICE: frozenset({User.Role.OWNER, User.Role.OFFICE}),
    }

    required_for = models.CharField(
        _("must use a second step"), max_length=20, choices=For, default=For.NOBODY
    )

    class Meta:
        verbose_name = _("rule about the second step")
        verbose_name_plural = _("rules about the second step")
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="second_step_rule_is_one"),
        ]

    def __str__(self) -> str:
        return self.get_required_for_display()

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @classmethod
    def current(cls) -> "SecondStepRule":
        """Return the one row, or its defaults while it has not been saved."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)

    def binds(self, person: User) -> bool:
        """Tell whether this person must use a second step."""
        return person.role in self.ROLES[self.For(self.required_for)]


def second_step_for() -> models.Subquery:
    """Return what the rule says, to be read along with other rows; None while it was never set."""
    return models.Subquery(SecondStepRule.objects.filter(pk=1).values("required_for")[:1])
