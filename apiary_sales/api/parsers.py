"""What a body may be: JSON, nested no deeper than a reader can follow."""

from django.utils.translation import gettext as _
from rest_framework import parsers
from rest_framework.exceptions import ParseError


class JSONParser(parsers.JSONParser):
    def parse(self, *args, **kwargs):
        try:
            return super().parse(*args, **kwargs)
        except RecursionError:
            raise ParseError(_("The request has too many nested levels to be read.")) from None
