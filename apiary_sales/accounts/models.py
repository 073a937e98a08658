from datetime import datetime
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractUser
from django.contrib.auth.models import UserManager as DjangoUserManager
from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken

from apiary_sales.accounts import browsers


class UserManager(DjangoUserManager):
    def create_superuser(self, username, email=None, password=None, **extra_fields):
        extra_fields.setdefault("role", User.Role.OWNER)
        return super().create_superuser(username, email, password, **extra_fields)


# The manager of a person's keys is of knox, which has no types.
class User(AbstractUser):  # type: ignore[django-manager-missing]
    """A person of the house. What they may do follows from their role: see `roles.py`."""

    class Role(models.TextChoices):
        OWNER = "owner", _("Owner")
        BOTTLING = "bottling", _("Bottling")
        STAND = "stand", _("Stand")
        OFFICE = "office", _("Office")

    # The stand may do least, so it is what a person has until told otherwise.
    role = models.CharField(_("role"), max_length=10, choices=Role, default=Role.STAND)
    # The owner has set the password and knows it: the person chooses another one first.
    must_change_password = models.BooleanField(_("must choose a new password"), default=False)

    objects: ClassVar[UserManager] = UserManager()

    class Meta(AbstractUser.Meta):
        # The stubs know plain text here alone, because the base class has it.
        verbose_name = _("person")  # type: ignore[assignment]
        verbose_name_plural = _("people")  # type: ignore[assignment]
        permissions = [("manage_people", _("Add people and set what they may do"))]

    @property
    def display_name(self) -> str:
        return self.get_full_name() or self.username


class SellerPin(models.Model):
    """The short PIN with which a person says at a shared phone that they are the seller.

    Only its hash is kept. It gives no rights: who is signed in decides what may be done.
    """

    person = models.OneToOneField(User, on_delete=models.CASCADE, related_name="seller_pin")
    hashed = models.CharField(max_length=128)
    set_at = models.DateTimeField(_("set"))
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name = _("PIN")
        verbose_name_plural = _("PINs")

    def __str__(self) -> str:
        return self.person.display_name


class PinTries(models.Model):
    """How often a PIN was wrong since the last right one: of a person, and by who or what asks.

    In the database, so that all processes of the service count together.
    """

    # "person-3", "asked-by-7" or "device-…": see `services/pins.py`.
    about = models.CharField(max_length=120, unique=True)
    wrong = models.PositiveIntegerField(default=0)
    wait_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("tries of a PIN")
        verbose_name_plural = _("tries of PINs")

    def __str__(self) -> str:
        return self.about

    def wait_seconds(self, now: datetime) -> int:
        """Return for how many seconds, rounded up, no further try is allowed."""
        if self.wait_until is None or self.wait_until <= now:
            return 0
        left = self.wait_until - now
        return left.days * 86_400 + left.seconds + bool(left.microseconds)


class SignIn(models.Model):
    """A sign-in or a try of one: when, who, from where, and what came of it."""

    class Outcome(models.TextChoices):
        IN = "in", _("signed in")
        WRONG_PASSWORD = "wrong_password", _("wrong password")
        LOCKED = "locked", _("locked")
        WRONG_SECOND_FACTOR = "wrong_second_factor", _("second factor wrong")
        SIGNED_OUT = "signed_out", _("signed out")
        TOKEN = "token", _("token given")

    at = models.DateTimeField(_("when"), db_index=True)
    person = models.ForeignKey(
        User, on_delete=models.CASCADE, null=True, related_name="sign_ins", verbose_name=_("person")
    )
    # A name that nobody has may be a password in the wrong field. It is kept as a mark alone, by
    # which one sees that the same was typed again.
    mark = models.CharField(_("mark of an unknown name"), max_length=32, blank=True)
    address = models.GenericIPAddressField(_("address"), null=True)
    # As the browser calls itself: `browsers.in_words` says it shortly.
    browser = models.CharField(_("browser"), max_length=255, blank=True)
    outcome = models.CharField(_("what came of it"), max_length=20, choices=Outcome)
    # Tries while a name or an address is locked are one row.
    times = models.PositiveIntegerField(_("times"), default=1)

    class Meta:
        verbose_name = _("sign-in")
        verbose_name_plural = _("sign-ins")
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.outcome}"


class SetUp(models.Model):
    """How far the house is set up, and the code with which its first owner begins: one row.

    Only the hash of the code is kept, and none once there is a person.
    """

    hashed_code = models.CharField(max_length=128, blank=True)
    # The steps of the guided set-up that were saved, and those left for later, by their slugs.
    steps_done = models.JSONField(_("steps done"), default=list, blank=True)
    steps_left = models.JSONField(_("steps left for later"), default=list, blank=True)
    # The keys of the pages that were saved, so that one that is sent twice is saved once.
    keys = models.JSONField(default=list, blank=True)
    begins_on = models.DateField(_("day on which the books begin"), null=True, blank=True)
    ended_at = models.DateTimeField(_("set up"), null=True, blank=True)

    class Meta:
        verbose_name = _("set-up of the house")
        verbose_name_plural = _("set-up of the house")
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="set_up_is_one"),
        ]

    def __str__(self) -> str:
        return "Set-up"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @classmethod
    def current(cls) -> "SetUp":
        """Return the one row, or its defaults while it has not been saved."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)


class ApiToken(AbstractAuthToken):
    """A key with which a program asks in the name of a person, of which only the hash is kept.

    A program may never do more than the person, and less where `scopes` says so.
    """

    class Scopes(models.TextChoices):
        READ = "read", _("Read only")
        SELL = "sell", _("Sell at the stand, and nothing else")
        READ_WRITE = "read write", _("Read and record")

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="auth_token_set")
    # The hash alone finds a key; rows have a number of their own, which may be in addresses.
    digest = models.CharField(max_length=128, unique=True)
    name = models.CharField(_("name"), max_length=80)
    scopes = models.CharField(_("may"), max_length=20, choices=Scopes)
    created = models.DateTimeField(_("made"), auto_now_add=True)
    expiry = models.DateTimeField(_("expires"))
    last_used_on = models.DateField(_("last used"), null=True, blank=True)
    # How far the log of PostgreSQL was, in bytes, when it last recorded something: it reads from a
    # replica once that is as far. Kept only where there is a replica.
    recorded_up_to = models.BigIntegerField(null=True, blank=True, editable=False)

    class Meta:
        verbose_name = _("key of a program")
        verbose_name_plural = _("keys of programs")

    def __str__(self) -> str:
        return self.name


class HouseSession(AbstractBaseSession):
    """Where somebody is signed in: what Django keeps of it, and of which person and browser it is.

    `session_key` is the hash of what the browser sends, so that a copy of the database signs nobody
    in. `expire_date` moves on while the session is used: see `rules.SESSION_LIMITS`.
    """

    session_key = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(
        User, on_delete=models.CASCADE, null=True, blank=True, related_name="sessions"
    )
    browser = models.CharField(_("browser"), max_length=200, blank=True)
    address = models.CharField(_("address"), max_length=45, blank=True)
    started_at = models.DateTimeField(_("signed in"))
    last_seen_at = models.DateTimeField(_("last seen"))

    class Meta(AbstractBaseSession.Meta):
        # As with `User`: the stubs know plain text here.
        verbose_name = _("sign-in on a device")  # type: ignore[assignment]
        verbose_name_plural = _("sign-ins on devices")  # type: ignore[assignment]

    def __str__(self) -> str:
        return f"{self.person} {self.started_at:%Y-%m-%d}"

    @property
    def browser_in_words(self) -> str:
        return browsers.in_words(self.browser)


# Django looks for models in this module: those of the second step are beside it.
import apiary_sales.accounts.second_step_models  # noqa: E402, F401
