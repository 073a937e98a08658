"""What every page of the set-up does: show its forms, save them whole, go on or leave it."""

import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, ClassVar

from django import forms
from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.generic import View

from apiary_sales.accounts.models import SetUp
from apiary_sales.accounts.services import set_up
from apiary_sales.web.first_hour import steps
from apiary_sales.web.first_hour.forms.rows import MORE, Rows, rows_in, show_as_typed
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.forms.acts import HouseForm
from inventory.shared.people import person_of
from inventory.shared.services import sent_forms


class _Refused(Exception):
    """Something was refused and is told at its field: nothing of the page is saved."""


@dataclass
class Asked:
    """What a page asks: one form, tables of rows, or both."""

    form: HouseForm | None = None
    rows: dict[str, Rows] = field(default_factory=dict)

    @property
    def forms(self) -> Iterator[forms.Form]:
        if self.form is not None:
            yield self.form
        for rows in self.rows.values():
            yield from rows

    def is_valid(self) -> bool:
        # All of them are asked, so that each says what is wrong.
        judged = [rows.is_valid() for rows in self.rows.values()]
        return (self.form is None or self.form.is_valid()) and all(judged)

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong, in words with the name of the field, each with where to mend it."""
        found = []
        for form in self.forms:
            if not form.is_bound:
                continue
            title = getattr(form, "title", "")
            found += [("", str(error)) for error in form.non_field_errors()]
            for bound in form:
                name = f"{title}, {bound.label}" if title else str(bound.label)
                found += [(f"#{bound.id_for_label}", f"{name}: {error}") for error in bound.errors]
        return found


class StepView(PermissionRequiredMixin, View):
    """A page of the set-up: a subclass says what it asks, and saves it by the services there are.

    All of a page is saved in one transaction. What a service refuses is told at the field, and
    what was typed stays.
    """

    permission_required = "accounts.manage_people"
    raise_exception = True
    slug: ClassVar[str]
    template_name: ClassVar[str]

    @property
    def step(self) -> steps.SetUpStep:
        return steps.BY_SLUG[self.slug]

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        """Return the forms, with what was typed or what is proposed."""
        raise NotImplementedError

    def save(self, asked: Asked) -> str:
        """Save what was typed, and say in a sentence what was made; refusals go to `telling_at`."""
        raise NotImplementedError

    def context(self) -> dict[str, Any]:
        """Return what the page shows beside its forms: what is there already."""
        return {}

    def read_in(self, data: QueryDict) -> QueryDict | None:
        """Return what was typed with more in it, where another button than *save* was used."""
        for name in list(data):
            if name.startswith("more-"):
                prefix = name.removeprefix("more-")
                grown = data.copy()
                grown[f"{prefix}-rows"] = str(rows_in(data, prefix) + MORE)
                return grown
        return None

    def tell_not_read(self, cells: Sequence[str]) -> None:
        """Say which cells of a pasted list are not understood: they are not in the table."""
        if cells:
            said = _("Not understood in the list: %(cells)s. Enter it in the table.")
            messages.warning(self.request, said % {"cells": "; ".join(cells)})

    def get(self, request: HttpRequest) -> HttpResponse:
        return self.show(self.ask(None))

    def post(self, request: HttpRequest) -> HttpResponse:
        if "later" in request.POST:
            set_up.leave_step(self.slug)
            return HttpResponseRedirect(steps.next_after(self.step))
        if (data := self.read_in(request.POST)) is not None:
            asked = self.ask(data, request.FILES)
            for form in asked.forms:
                if form.is_bound:
                    show_as_typed(form)
            return self.show(asked)
        asked = self.ask(request.POST, request.FILES)
        if asked.is_valid():
            try:
                said = self._save(asked)
            except _Refused:
                pass
            except AlreadyRecorded:
                messages.info(request, _("This page was saved already."))
                return HttpResponseRedirect(steps.next_after(self.step))
            else:
                messages.success(request, said)
                return HttpResponseRedirect(steps.next_after(self.step))
        return self.show(asked, status=422)

    def _save(self, asked: Asked) -> str:
        self._is_refused = False
        with transaction.atomic():
            key = self.key
            set_up.save_step(self.slug, key=key)
            said = self.save(asked)
            if self._is_refused:
                raise _Refused
            sent_forms.keep(
                person=person_of(self.request),
                key=key,
                address=self.request.path_info,
                next_url=steps.next_after(self.step),
            )
        return said

    @contextmanager
    def telling_at(self, form: HouseForm, **fields: str) -> Iterator[None]:
        """Tell at the fields of `form` what is refused, and keep the page from being saved.

        `fields` are those in which a parameter of another name is typed.
        """
        try:
            # The service may have written something before it refused.
            with transaction.atomic():
                yield
        except HouseError as error:
            for problem in error.problems:
                problem.parameter = fields.get(problem.parameter or "", problem.parameter)
            form.refuse(error)
            self._is_refused = True

    @property
    def key(self) -> str:
        """The key of this page as it was sent, from which its acts have theirs."""
        return self.request.POST.get("key", "")[:60] or str(uuid.uuid4())

    def show(self, asked: Asked, *, status: int = 200) -> HttpResponse:
        row = SetUp.current()
        context = {
            "step": self.step,
            "marks": steps.marks(row),
            "number": steps.STEPS.index(self.step) + 1,
            "count": len(steps.STEPS),
            "back_url": steps.before(self.step),
            "key": str(uuid.uuid4()),
            "form": asked.form,
            "rows": asked.rows,
            "problems": asked.problems if status == 422 else [],
            "begins_on": steps.begins_on(row),
            **self.context(),
        }
        return render(self.request, self.template_name, context, status=status)
