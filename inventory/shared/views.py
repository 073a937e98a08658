"""A page on which a person does one act: form, service, message, next page."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import IntegrityError, transaction
from django.db.models import Model, QuerySet
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseRedirect,
    QueryDict,
)
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.generic import FormView

from inventory.shared import versions
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.people import person_of
from inventory.shared.queries import sent_forms
from inventory.shared.services import sent_forms as sent_form_services

# Django's class takes the type of its form for the type checker only. Each act has its own, and
# its view says which.
if TYPE_CHECKING:
    AnyFormView = FormView[Any]
else:
    AnyFormView = FormView


class ActView(PermissionRequiredMixin, AnyFormView):
    """Show a form, call one service with what was typed, and say what was done.

    A subclass gives `permission_required`, `form_class`, `template_name`, and the three methods
    below; while it acts, `self.form` is the form that was sent. A refused act shows its sentences
    at the fields and leaves the books unchanged. The same form sent twice says so and goes on to
    the same page: a middleware knows it before anything here is looked up or checked.
    """

    raise_exception = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        # Check the permission first, so that nobody else can find out whether the object exists.
        if not self.has_permission():
            return self.handle_no_permission()
        self.prepare()
        return super().dispatch(request, *args, **kwargs)

    def prepare(self) -> None:
        """Look up what the act is about, by `self.kwargs` and `self.request`."""

    def edited(self) -> Model | None:
        """Return the row that the form shows and changes; None where the act is a new entry.

        Such a form is not saved over what somebody else changed while it was open.
        """
        return None

    def edited_parts(self) -> Sequence[QuerySet[Any]]:
        """Return the other rows that the form shows and changes, such as lines of the row."""
        return ()

    def get_form(self, form_class: Any = None) -> Any:
        form = super().get_form(form_class)
        if self.edited() is not None:
            sent = self.request.POST.get(versions.FIELD, "")
            form.opened_on = sent if form.is_bound else versions.stamp(form)
        return form

    def act(self, data: dict[str, Any]) -> Any:
        """Call the service with the cleaned form data and return what it made."""
        raise NotImplementedError

    def done_message(self, made: Any) -> str:
        """Say what was done, in one sentence."""
        raise NotImplementedError

    def done_level(self, made: Any) -> int:
        """Return how the message looks: good news, unless the subclass knows better."""
        return messages.SUCCESS

    def next_url(self, made: Any) -> str:
        """Where to go after the act."""
        raise NotImplementedError

    def posting_to_undo(self, made: Any) -> Model | None:
        """Return the posting that an *undo* beside the message reverses, or None."""
        return None

    def uses_key_up(self, made: Any) -> bool:
        """Tell whether the act recorded something, so that its form does not act again."""
        return made is not None

    def form_valid(self, form: Any) -> HttpResponse:
        self.form = form
        try:
            made = self._acted_and_kept(form)
        except AlreadyRecorded as repeat:
            return self._repeated(form, repeat)
        except versions.ChangedMeanwhile as stale:
            return self.form_invalid(stale.form)
        except HouseError as error:
            form.refuse(error)
            return self.form_invalid(form)
        posting = self.posting_to_undo(made)
        # A message's extra tag is the address behind the *undo* beside it.
        undo = ""
        if posting is not None and self.request.user.has_perm("inventory.reverse_posting"):
            undo = reverse("inventory:posting_reverse", args=[posting.pk])
        messages.add_message(
            self.request, self.done_level(made), self.done_message(made), extra_tags=undo
        )
        return HttpResponseRedirect(self.next_url(made))

    def _acted_and_kept(self, form: Any) -> Any:
        """Return what the act made; the form is kept in its transaction."""
        # What changes a row is judged by the row as it is now, however often it is sent.
        if not form.cleaned_data.get("key") or self.edited() is not None:
            return self._acted(form)
        sent = self._sent(form)
        try:
            with transaction.atomic():
                made = self._acted(form)
                if self.uses_key_up(made):
                    sent_form_services.keep(**sent, next_url=self.next_url_of_repeat(made))
        except IntegrityError as error:
            if sent_forms.find(**sent) is None:
                raise
            raise AlreadyRecorded(_("This was recorded already.")) from error
        return made

    def _sent(self, form: Any) -> dict[str, Any]:
        """Return by what a form that was sent is known again."""
        return {
            "person": person_of(self.request),
            "key": form.cleaned_data.get("key", ""),
            "address": self.request.path_info,
        }

    def _repeated(self, form: Any, repeat: AlreadyRecorded) -> HttpResponse:
        """Answer a form that the act itself knew: sent at the same moment, or long ago."""
        sent = self._sent(form)
        if kept := sent_forms.find(**sent):
            messages.info(self.request, repeat.message)
            return HttpResponseRedirect(kept.next_url)
        if sent_forms.is_of_another(**sent):
            # What the other one made is not told.
            form.add_error(
                None,
                _(
                    "Nothing was recorded: this form was used for something else before. "
                    "Open the page again, and enter it there."
                ),
            )
            return self.form_invalid(form)
        messages.info(self.request, repeat.message)
        return HttpResponseRedirect(self.repeat_url(repeat.made))

    def _acted(self, form: Any) -> Any:
        row = self.edited()
        if row is None:
            return self.act(dict(form.cleaned_data))
        return versions.act_on_shown(
            form,
            row=row,
            parts=self.edited_parts(),
            shown=self._shown_now,
            again=self._sent_again,
            act=self._act_on,
        )

    def _shown_now(self) -> Any:
        """Return the form as this page would show it now."""
        view = type(self)()
        view.setup(self.request, *self.args, **self.kwargs)
        view.prepare()
        kwargs = view.get_form_kwargs()
        for sent in ("data", "files"):
            kwargs.pop(sent, None)
        return view.get_form_class()(**kwargs)

    def _sent_again(self, data: QueryDict) -> Any:
        """Return the form that was sent, with other data."""
        form = self.get_form_class()(**self.get_form_kwargs() | {"data": data})
        self.form = form
        return form

    def _act_on(self, form: Any) -> Any:
        self.form = form
        return self.act(dict(form.cleaned_data))

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)

    def next_url_of_repeat(self, made: Any) -> str:
        """Where the form leads when it comes again; `made` is what the act returned."""
        return self.next_url(made)

    def repeat_url(self, made: Any) -> str:
        """Where to go when the service alone knew that the form came twice: home, unless the
        subclass knows better. `made` is what the service says was made.
        """
        return reverse("web:today")


class ShowFirstView(ActView):
    """An act whose page has a second button, `show`: it only says what the act would come to."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "show" not in request.POST:
            return super().post(request, *args, **kwargs)
        form = self.get_form()
        if not form.is_valid():
            return self.form_invalid(form)
        return self.render_to_response(self.get_context_data(form=form))
