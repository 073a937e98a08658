"""In which order the first page shows its parts, by role."""

from dataclasses import dataclass

from apiary_sales.accounts.models import User
from apiary_sales.web import tasks
from apiary_sales.web.tasks import Task

# The partial templates in templates/web/today/ of the same names.
ORDERS, STOCK, RUNS = "orders", "stock", "runs"
TANKS, DRUMS, PAILS, OWED, TO_FILL = "tanks", "drums", "pails", "owed", "to_fill"


@dataclass(frozen=True)
class Layout:
    """The section a role looks at first, then figures and sections, and the work it does most."""

    first_section: str
    figures: tuple[str, ...]
    sections: tuple[str, ...]
    first_tasks: tuple[str, ...]

    def split(self, user: User) -> tuple[list[Task], list[Task]]:
        """Return the work a person does most, and the rest of what they may do."""
        may = {task.url_name: task for task in tasks.of(user)}
        first = [may.pop(name) for name in self.first_tasks if name in may]
        return first, list(may.values())


LAYOUTS = {
    User.Role.OWNER: Layout(
        ORDERS,
        (OWED, TANKS, DRUMS, PAILS),
        (STOCK, RUNS),
        ("orders:order_create", "billing:stand", "inventory:bottling_day_create", "inventory:dip"),
    ),
    User.Role.BOTTLING: Layout(
        STOCK,
        (TANKS, DRUMS, PAILS, TO_FILL, OWED),
        (ORDERS, RUNS),
        (
            "inventory:bottling_day_create",
            "inventory:bottling",
            "inventory:drum_fill",
            "inventory:dip",
        ),
    ),
    User.Role.OFFICE: Layout(
        ORDERS,
        (OWED, TANKS, DRUMS, PAILS),
        (STOCK, RUNS),
        ("orders:order_create", "billing:money", "orders:quote_create", "billing:stand"),
    ),
}


def of(user: User) -> Layout:
    """Return the layout of a person's role; others who see this page see it as the owner does."""
    return LAYOUTS.get(User.Role(user.role), LAYOUTS[User.Role.OWNER])
