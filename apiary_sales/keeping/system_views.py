"""Pages for the owner about keeping the house's data safe, and about the service itself."""

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.keeping.models import Backup
from apiary_sales.keeping.queries import backup_state
from apiary_sales.keeping.queries import system as system_figures
from apiary_sales.keeping.services import backups, by_hand
from inventory.shared.errors import BadValue
from inventory.shared.people import person_of

ROWS_A_PAGE = 30

keeps_house = permission_required("keeping.keep_house", raise_exception=True)


@keeps_house
@require_safe
def backup_list(request: HttpRequest) -> HttpResponse:
    """Show when the last good backup was, and all that were made or tried."""
    page = Paginator(backup_state.newest(), ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "state": backup_state.of_house(),
        "page": page,
        "folder": backups.default_folder(),
        "is_encrypted": backup_state.is_encrypted_at_night(),
    }
    return render(request, "keeping/backups.html", context)


@keeps_house
@require_POST
def back_up_now(request: HttpRequest) -> HttpResponse:
    """Begin a backup, and go where its progress is shown."""
    work = by_hand.ask_for(started_by=person_of(request))
    return redirect("inventory:long_work", pk=work.pk)


@keeps_house
@require_safe
def backup_file(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Give the file of a backup, where it is on this machine."""
    backup = get_object_or_404(Backup, pk=pk)
    try:
        path = backups.check_file(backup)
    except BadValue as error:
        context = {"reason": error.message}
        return render(request, "keeping/no_file.html", context, status=404)
    response = FileResponse(path.open("rb"), as_attachment=True, filename=path.name)
    response.headers["Cache-Control"] = "no-store"
    response.headers["Content-Type"] = "application/octet-stream"
    return response


@keeps_house
@require_safe
def system(request: HttpRequest) -> HttpResponse:
    """Show how the service itself is doing."""
    return render(request, "keeping/system.html", {"system": system_figures.now()})
