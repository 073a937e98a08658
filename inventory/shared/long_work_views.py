"""The page of a piece of long work: how far it is, a way to stop it, and what came of it."""

import mimetypes

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from inventory.shared import work_files
from inventory.shared.errors import HouseError
from inventory.shared.models import LongWork
from inventory.shared.people import person_of
from inventory.shared.services import long_work

# Who may see the work of others.
SEE_ALL = "accounts.manage_people"


@require_safe
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how far it is; asked by a page script, only the part that changes."""
    work = work_for(request, pk)
    if long_work.is_lost(work):
        long_work.end_lost()
        work.refresh_from_db()
    part = getattr(request, "htmx", False)
    template = "inventory/long_work/_state.html" if part else "inventory/long_work/show.html"
    return render(request, template, {"work": work})


@require_safe
def file(request: HttpRequest, pk: int) -> HttpResponse:
    return file_of(work_for(request, pk))


def file_of(work: LongWork) -> HttpResponse:
    """Hand out the file that it made, to be saved under the name of the work."""
    path = work_files.path_of(work)
    if path is None:
        raise Http404(_("This file is no longer kept. Make it again."))
    name = f"{work.title}{path.suffix}"
    shown_here = path.suffix == ".pdf"
    return HttpResponse(
        path.read_bytes(),
        content_type=mimetypes.guess_type(path.name)[0] or "application/octet-stream",
        headers={
            "Content-Disposition": content_disposition_header(not shown_here, name) or "inline",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )


@require_POST
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask it to stop at its next step."""
    work = work_for(request, pk)
    try:
        long_work.ask_to_stop(work)
    except HouseError as error:
        messages.error(request, str(error.message))
    else:
        messages.success(request, _("It stops at its next step."))
    return redirect("inventory:long_work", pk=pk)


def work_for(request: HttpRequest, pk: int) -> LongWork:
    person = person_of(request)
    work = LongWork.objects.filter(pk=pk).first()
    # Others are not told whether there is such work.
    if work is None or (work.started_by_id != person.pk and not request.user.has_perm(SEE_ALL)):
        raise Http404
    return work
