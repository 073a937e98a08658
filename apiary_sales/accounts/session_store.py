"""How Django keeps sessions here: as rows that say of which person and browser each one is."""

from dataclasses import dataclass
from hashlib import sha256
from typing import Any, cast

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.http import HttpRequest
from django.utils import timezone


@dataclass(frozen=True)
class Device:
    """With what somebody asks: as the browser names itself, and the IP address."""

    browser: str = ""
    address: str = ""


def digest(session_key: str) -> str:
    """Return what is kept of the key that a browser has, so that a copy of it signs nobody in."""
    return sha256(session_key.encode()).hexdigest()


# Django makes its signatures with the name of the class, so it has to have this one.
class SessionStore(DatabaseStore):
    """Sessions in the database, each found by the hash of its key."""

    def __init__(self, session_key: str | None = None) -> None:
        super().__init__(session_key)
        self.device = Device()
        # The `HouseSession` that was read or written, None before that.
        self.row: Any = None

    @classmethod
    def get_model_class(cls) -> Any:
        # The models are not loaded yet when Django reads this file.
        from apiary_sales.accounts.models import HouseSession

        return HouseSession

    def exists(self, session_key: str) -> bool:
        return bool(super().exists(digest(session_key)))

    def delete(self, session_key: str | None = None) -> None:
        if key := session_key or self.session_key:
            super().delete(digest(key))

    def create_model_instance(self, data: dict[str, Any]) -> Any:
        """Return the row to be written: a new one for a new key, else the one that was read."""
        from apiary_sales.accounts import rules
        from apiary_sales.accounts.models import User

        # The stubs leave this method out.
        key = digest(self._get_or_create_session_key())  # type: ignore[attr-defined]
        now = timezone.now()
        kept = self.row if self.row is not None and self.row.session_key == key else None
        person = User.objects.filter(pk=data[SESSION_KEY]).first() if SESSION_KEY in data else None
        started_at = kept.started_at if kept else now
        model: Any = self.get_model_class()
        self.row = model(
            pk=kept.pk if kept else None,
            session_key=key,
            session_data=self.encode(data),
            person=person,
            browser=self.device.browser,
            address=self.device.address,
            started_at=started_at,
            last_seen_at=now,
            expire_date=rules.session_ends_at(
                person.role if person else None, started_at=started_at, seen_at=now
            ),
        )
        return self.row

    def _get_session_from_db(self) -> Any:
        from apiary_sales.accounts.second_step_models import second_step_for

        model: Any = self.get_model_class()
        live = (
            model.objects.filter(expire_date__gt=timezone.now())
            .select_related("person")
            # Each page asks for it: so it costs no question of its own.
            .annotate(second_step_for=second_step_for())
        )
        self.row = live.filter(session_key=digest(self.session_key or "")).first()
        if self.row is None:
            self._session_key = None
        return self.row


def store_of(request: HttpRequest) -> SessionStore:
    """Return the session of a request as what it is here."""
    return cast(SessionStore, request.session)
