"""How long lists are handed out."""

from rest_framework.pagination import LimitOffsetPagination


class Pages(LimitOffsetPagination):
    """As many rows as are asked for, up to a number that one answer can carry."""

    max_limit = 1000
