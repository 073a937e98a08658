from typing import ClassVar

from django.contrib.auth.models import AbstractUser
from django.contrib.auth.models import UserManager as DjangoUserManager
from django.db import models
from django.utils.translation import gettext_lazy as _


class UserManager(DjangoUserManager):
    def create_superuser(self, username, email=None, password=None, **extra_fields):
        extra_fields.setdefault("role", User.Role.OWNER)
        return super().create_superuser(username, email, password, **extra_fields)


class User(AbstractUser):
    """A person of the house. What they may do follows from their role: see `roles.py`."""

    class Role(models.TextChoices):
        OWNER = "owner", _("Owner")
        BOTTLING = "bottling", _("Bottling")
        STAND = "stand", _("Stand")
        OFFICE = "office", _("Office")

    # The stand may do least, so it is what a person has until told otherwise.
    role = models.CharField(_("role"), max_length=10, choices=Role, default=Role.STAND)

    objects: ClassVar[UserManager] = UserManager()

    class Meta(AbstractUser.Meta):
        # The stubs know plain text here alone, because the base class has it.
        verbose_name = _("person")  # type: ignore[assignment]
        verbose_name_plural = _("people")  # type: ignore[assignment]
        permissions = [("manage_people", _("Add people and set what they may do"))]

    @property
    def display_name(self) -> str:
        return self.get_full_name() or self.username
