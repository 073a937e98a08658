"""One day at the stand of the demo: its float, something paid from the drawer, and its count."""

from datetime import date, timedelta

from apiary_sales.accounts.models import User
from apiary_sales.billing import drawers
from apiary_sales.billing.models import StandDay
from apiary_sales.billing.services import stand_days
from apiary_sales.web.demo.fixtures import Say, cents, key, once, read
from inventory.stock.models import Place


def tell(today: date, say: Say) -> None:
    """Open the last market day with its float, pay from the drawer, and close it a little short."""
    story = read("story")
    row = story["stand_day"]
    day = today - timedelta(weeks=min(week["weeks_ago"] for week in story["stand_weeks"]))
    minder = User.objects.filter(role=User.Role.STAND).latest("id")
    stand = Place.objects.get(code="stand")
    once(
        say,
        "opened a day at the stand",
        stand_days.open_day,
        place=stand,
        day=day,
        float_pieces=row["float"],
        opened_by=minder,
        key=key("stand-day"),
    )
    opened = StandDay.objects.get(place=stand, day=day)
    once(
        say,
        f"paid {row['spent']['payee']} from the drawer",
        stand_days.move_cash,
        stand_day=opened,
        kind="spent",
        cents=cents(row["spent"]["amount"]),
        payee=row["spent"]["payee"],
        category=row["spent"]["category"],
        text=row["spent"]["text"],
        moved_by=minder,
        key=key("stand-day-spent"),
    )
    once(
        say,
        "counted the drawer and closed the day",
        stand_days.close,
        stand_day=opened,
        counted_cents=drawers.drawer_of(opened).expected_cents - cents(row["short"]),
        note=row["note"],
        closed_by=minder,
        key=key("stand-day-closed"),
    )
