"""What the invented house warmed and cleaned."""

from datetime import date, timedelta
from decimal import Decimal

from apiary_sales.accounts.models import User
from apiary_sales.web.demo.fixtures import Say, celsius, key, once, read
from inventory.stock.models import CleaningTask, Place
from inventory.stock.services import cleaning, warmings


def tell(today: date, say: Say) -> None:
    """Do everything in `fixtures_demo/care.toml` that has not been done yet."""
    rows = read("care")
    person = User.objects.get(role=User.Role.BOTTLING)
    _warm(rows["warmings"], today, person, say)
    if not CleaningTask.objects.exists():
        for row in rows["cleaning"]:
            place = Place.objects.get(code=row["place"]) if "place" in row else None
            told = {name: row[name] for name in row if name not in ("place", "done_days_ago")}
            cleaning.save_task(place=place, **told)
        say(f"  a schedule of {len(rows['cleaning'])} cleanings")
    _clean(rows["cleaning"], today, person, say)


def _warm(rows: list[dict], today: date, person: User, say: Say) -> None:
    for row in rows:
        place = Place.objects.get(code=row["place"])
        once(
            say,
            f"warmed {place.name} to {row['highest_fahrenheit']} °F",
            warmings.record,
            place=place,
            started_on=today - timedelta(days=row["started_days_ago"]),
            ended_on=today - timedelta(days=row["ended_days_ago"]),
            hours=Decimal(row["hours"]),
            highest_celsius=celsius(row["highest_fahrenheit"]),
            above_limit_confirmed=True,
            warmed_by=person.display_name,
            note=row["note"],
            recorded_by=person,
            key=key(f"warming-{row['place']}"),
        )


def _clean(rows: list[dict], today: date, person: User, say: Say) -> None:
    for row in rows:
        for days_ago in row.get("done_days_ago", []):
            once(
                say,
                f"cleaned: {row['name']}, {days_ago} days ago",
                cleaning.record,
                task=CleaningTask.objects.get(name=row["name"]),
                cleaned_on=today - timedelta(days=days_ago),
                cleaned_by=person.display_name,
                cleaned_with=row["cleaned_with"],
                recorded_by=person,
                key=key(f"cleaning-{row['name']}-{days_ago}"),
            )
