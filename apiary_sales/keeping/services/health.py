"""Whether the service can do its work now."""

import logging

from django.db import DatabaseError, transaction

from apiary_sales.keeping.models import Backup

logger = logging.getLogger(__name__)


def is_well() -> bool:
    """Tell whether the database takes a write. It changes no row.

    SQLite takes its lock for writing, and PostgreSQL refuses this statement where it only reads.
    """
    try:
        with transaction.atomic():
            Backup.objects.filter(pk=0).update(message="")
    except DatabaseError:
        logger.exception("The database does not take a write.")
        return False
    return True
