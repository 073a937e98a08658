from typing import Any

from django.core.management.base import BaseCommand

from apiary_sales.keeping import rebuild


class Command(BaseCommand):
    help = "Make anew what is worked out from the tables, such as the index of the search."

    def handle(self, *args: Any, **options: Any) -> None:
        rebuild.rebuild()
        self.stdout.write("What is worked out from the tables is made anew.")
