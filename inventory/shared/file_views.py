"""Files attached to things: added, shown, removed.

Every page asks the app of the thing, through `attachable`, whether this person may.
"""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils.functional import cached_property
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.shared import attachable, file_contents
from inventory.shared.attachable import Attachable
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.files import FileForm
from inventory.shared.models import Attachment
from inventory.shared.people import person_of
from inventory.shared.queries import files as queries
from inventory.shared.services import files
from inventory.shared.views import ActView

# Whatever the file may be, in a browser it runs nothing and loads nothing.
CONTENT_SECURITY_POLICY = "default-src 'none'; sandbox; frame-ancestors 'none'"


@require_safe
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out a file, to those who may see the thing it is attached to."""
    attachment = found_for(request.user, pk)
    try:
        return response_of(attachment)
    except FileNotFoundError:
        context = {"attachment": attachment, "page_url": page_of(attachment)}
        return render(request, "files/missing.html", context, status=410)


def found_for(user: Any, pk: int) -> Attachment:
    """Return a file that this person may see; raises Http404 and PermissionDenied."""
    attachment = queries.find(pk)
    if attachment is None:
        raise Http404
    if not attachable.of_attachment(attachment).may_see(user):
        raise PermissionDenied
    if attachment.is_removed:
        raise Http404
    return attachment


def response_of(attachment: Attachment) -> HttpResponse:
    """Return a file as an answer that no browser takes for anything else.

    Raises FileNotFoundError where a backup was restored without its files.
    """
    with attachment.file.open("rb") as kept:
        content = kept.read()
    media_type = attachment.media_type
    if media_type.startswith("text/"):
        media_type += "; charset=utf-8"
    is_download = attachment.media_type not in file_contents.SHOWN_INLINE
    return HttpResponse(
        content,
        content_type=media_type,
        headers={
            "Content-Disposition": content_disposition_header(is_download, attachment.name)
            or "inline",
            "Content-Security-Policy": CONTENT_SECURITY_POLICY,
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )


def page_of(attachment: Attachment) -> str:
    return attachable.of_attachment(attachment).page(attachment.thing)


class FileAddView(ActView):
    form_class = FileForm
    template_name = "files/add.html"
    thing: Model

    @cached_property
    def registered(self) -> Attachable | None:
        return attachable.by_name(self.kwargs["thing"])

    def has_permission(self) -> bool:
        return self.registered is not None and self.registered.may_add(self.request.user)

    def prepare(self) -> None:
        assert self.registered is not None
        self.thing = get_object_or_404(self.registered.model_class, pk=self.kwargs["pk"])
        self.page_url = self.registered.page(self.thing)

    def act(self, data: dict[str, Any]) -> Attachment:
        return files.attach(
            thing=self.thing,
            file=data["file"],
            kind=data["kind"],
            note=data["note"],
            added_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Attachment) -> str:
        return _("%(name)s is attached.") % {"name": made.name}

    def next_url(self, made: Attachment) -> str:
        return self.page_url

    def repeat_url(self, made: Any) -> str:
        return self.page_url


class FileRemoveView(ActView):
    form_class = ActForm
    template_name = "files/remove.html"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.attachment = queries.find(self.kwargs["pk"])
        return super().dispatch(request, *args, **kwargs)

    def has_permission(self) -> bool:
        return self.attachment is not None and attachable.of_attachment(self.attachment).may_add(
            self.request.user
        )

    def prepare(self) -> None:
        assert self.attachment is not None
        self.page_url = page_of(self.attachment)

    def act(self, data: dict[str, Any]) -> Attachment:
        assert self.attachment is not None
        return files.remove(attachment=self.attachment, removed_by=person_of(self.request))

    def done_message(self, made: Attachment) -> str:
        return _("%(name)s is removed.") % {"name": made.name}

    def next_url(self, made: Attachment) -> str:
        return self.page_url
