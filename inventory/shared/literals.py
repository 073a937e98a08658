"""Values that are written into a question.

SQLite doesn't look into parameters to see that a partial index fits.
"""

from django.db.models.expressions import RawSQL

ZERO = RawSQL("0", [])
NO_TEXT = RawSQL("''", [])
