"""What is stored about the house itself, and the files that are attached to things."""

from .books_lock import BooksLock
from .files import Attachment
from .house import House
from .long_work import LongWork
from .sent_forms import SentForm

__all__ = ["Attachment", "BooksLock", "House", "LongWork", "SentForm"]
