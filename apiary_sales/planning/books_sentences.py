"""What every plan says of the books it goes by: honey it may not use, and runs that are planned."""

from collections.abc import Iterator

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning.rules.books import Books, NotUsedBecause


def never_used(books: Books) -> Iterator[str]:
    """Name the vessels whose honey no plan may use, a sentence for each reason."""
    for because in NotUsedBecause:
        names = [each.place.name for each in books.not_used if each.because == because]
        if names:
            yield _("Not used, because %(reason)s: %(vessels)s.") % {
                "reason": because.label,
                "vessels": "; ".join(names),
            }


def planned_runs(books: Books) -> Iterator[str]:
    """Say how many runs are planned already, if any."""
    if books.planned_runs:
        yield ngettext(
            "%(count)s run is planned already. Its honey, parts and jars are set aside.",
            "%(count)s runs are planned already. Their honey, parts and jars are set aside.",
            books.planned_runs,
        ) % {"count": books.planned_runs}
