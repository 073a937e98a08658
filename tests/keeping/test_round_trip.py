"""A house that is exported and brought into an empty one is the same house there."""

import json
import shutil
import zipfile
from io import StringIO

import pytest
from django.contrib.auth.models import Group
from django.core.management import CommandError, call_command

from apiary_sales.accounts.models import User
from apiary_sales.finding.services import index
from apiary_sales.keeping import bringing_in, exporting
from apiary_sales.keeping.bringing_in import CannotBringIn
from inventory.shared.models import House
from inventory.stock.models import Item, Place, Posting
from tests.keeping.whole_house import FILES, all_rows

SECRET_OR_OF_THE_MACHINE = {
    "accounts.ApiToken",
    "accounts.HouseSession",
    "accounts.Passkey",
    "accounts.PinTries",
    "accounts.RecoveryCode",
    "accounts.SecondStep",
    "accounts.SignIn",
    "api.KeptAnswer",
    "accounts.SellerPin",
    "axes.AccessAttempt",
    "axes.AccessAttemptExpiration",
    "axes.AccessFailureLog",
    "axes.AccessLog",
    "django_tasks_database.DBTaskResult",
    "inventory.LongWork",
    "keeping.Backup",
    "inventory.SentForm",
    "keeping.ProvedSeals",
    "keeping.SharedKeyAndFiles",
    "keeping.RowChange",
    "webhooks.Endpoint",
    "webhooks.EventDelivery",
    "webhooks.HouseEvent",
}


def manifest(path):
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("manifest.json"))


def changed(path, to, name, change):
    """Write a copy of an export in which one file is another."""
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(to, "w") as target:
        for entry in source.namelist():
            content = source.read(entry)
            target.writestr(entry, change(content) if entry == name else content)
    return to


def with_manifest(path, to, **said):
    return changed(
        path, to, "manifest.json", lambda content: json.dumps({**json.loads(content), **said})
    )


def test_every_row_comes_back_and_another_export_is_the_same(
    full_house, empty_house, settings, tmp_path
):
    made = bringing_in.import_house(full_house.export)
    again = exporting.write(tmp_path / "again.zip", using="default")

    came, source = all_rows(), full_house.rows
    for label in source.keys() - SECRET_OR_OF_THE_MACHINE:
        for row in [*came[label], *source[label]]:
            row.pop("password", None)
        assert came[label] == source[label], label
    count = sum(len(source[label]) for label in source.keys() - SECRET_OR_OF_THE_MACHINE)
    assert made.rows == again.rows == count > 3_000
    before, after = manifest(full_house.export), manifest(again.path)
    assert before["tables"] == after["tables"]
    assert before["sums"] == after["sums"]
    assert before["sums"]["cents_by_account"]["receivable"] != 0
    for name in before["files"].keys() - {"README.txt"}:
        assert before["files"][name] == after["files"][name], name
    kept = {path.name: path.read_bytes() for path in settings.FILES_DIR.iterdir()}
    assert (made.files, kept) == (len(FILES), FILES)


def test_a_house_that_came_in_goes_on_working(full_house, empty_house):
    bringing_in.import_house(full_house.export)

    newest = Item.objects.latest("pk").pk
    assert Item.objects.create(kind=Item.Kind.PART, name="A new lid").pk == newest + 1
    # Raw rows pass by the search, whose index is made anew.
    assert index.differences() == []
    people = User.objects.all()
    assert {person.role for person in people} == set(User.Role.values)
    assert not any(person.has_usable_password() for person in people)
    assert Group.objects.get(name="stand").permissions.filter(codename="sell_at_stand").exists()


def test_a_house_that_is_not_empty_is_left_alone(full_house, empty_house, tmp_path):
    House(name="Somebody's own house").save()

    with pytest.raises(CannotBringIn) as refused:
        bringing_in.import_house(full_house.export)

    assert str(refused.value) == (
        "This database has a house in it already (auditlog.LogEntry has rows). An export comes "
        "into an empty one only: give it a place of its own, for example DATA_DIR=/srv/honey-2."
    )
    assert House.current().name == "Somebody's own house"
    assert not Posting.objects.exists()


def test_a_file_that_was_changed_is_refused(full_house, empty_house, tmp_path):
    name = "tables/billing/entry-line.csv"
    path = changed(full_house.export, tmp_path / "x.zip", name, lambda old: old + b"1,1\r\n")

    with pytest.raises(CannotBringIn) as refused:
        bringing_in.import_house(path)

    assert str(refused.value) == (
        f"{name} is not as it was exported: its SHA-256 is another one. Use an undamaged copy of "
        "the export."
    )


def test_an_export_without_one_of_its_files_is_refused(full_house, empty_house, tmp_path):
    files = {**manifest(full_house.export)["files"], "tables/lost.csv": {"sha256": ""}}

    with pytest.raises(CannotBringIn, match=r"is not whole: tables/lost\.csv is missing\.$"):
        bringing_in.import_house(with_manifest(full_house.export, tmp_path / "x.zip", files=files))


@pytest.mark.parametrize(
    ("said", "way_out"),
    [
        ({"format_version": 2, "version": "9.0.0"}, "Install that version and bring it in there."),
        (
            {"migrations": {}, "version": "9.0.0"},
            "Install version 9.0.0 or a later one, and bring it in there.",
        ),
        (
            {"migrations": {}, "version": "0.1.0"},
            "Check out version 0.1.0, bring it in there into an empty database, and then upgrade "
            "that database as the README says under Upgrade.",
        ),
        ({"migrations": {}, "version": "new"}, "was made by an unknown version: new."),
        ({"format": "a diary"}, "is not that of an export of a house."),
    ],
)
def test_an_export_of_another_version_is_refused_with_a_way_out(
    full_house, empty_house, tmp_path, said, way_out
):
    path = with_manifest(full_house.export, tmp_path / "x.zip", **said)

    with pytest.raises(CannotBringIn) as refused:
        bringing_in.import_house(path)

    assert str(refused.value).endswith(way_out)


def test_a_house_whose_books_add_up_to_something_else_does_not_come_in(
    full_house, empty_house, settings, tmp_path
):
    sums = manifest(full_house.export)["sums"]
    cash = sums["cents_by_account"]["cash"]
    sums["cents_by_account"]["cash"] = cash + 1
    path = with_manifest(full_house.export, tmp_path / "x.zip", sums=sums)

    with pytest.raises(CannotBringIn) as refused:
        bringing_in.import_house(path)

    assert str(refused.value) == (
        "The books do not add up to what the export says: cents_by_account, cash is "
        f"{cash} and should be {cash + 1}."
    )
    assert (House.objects.count(), Place.objects.count()) == (0, 0)
    assert list(settings.FILES_DIR.iterdir()) == []


def test_an_export_that_is_broken_off_leaves_no_half_file(empty_house, tmp_path):
    def break_off(done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        exporting.write(tmp_path / "exports" / "x.zip", using="default", told=break_off)

    assert list((tmp_path / "exports").iterdir()) == []


def test_the_commands_say_what_is_left_to_do(full_house, empty_house, tmp_path):
    out = StringIO()

    call_command("import_house", full_house.export, stdout=out)

    assert out.getvalue().endswith(
        "Passwords do not come along. Give the owner a new one with manage.py set_password "
        "odile, and the others theirs in Settings, People.\n"
    )
    with pytest.raises(CommandError, match="is there already and is left alone"):
        call_command("export_house", full_house.export)


def test_a_file_that_is_no_export_is_refused_in_one_line(empty_house, tmp_path):
    path = tmp_path / "note.txt"
    path.write_text("No zip.")

    with pytest.raises(CommandError) as refused:
        call_command("import_house", path)

    assert str(refused.value) == (
        f"{path} is no export of a house, or is damaged: File is not a zip file. "
        "Nothing was changed."
    )


def test_the_readme_names_every_table_and_column(full_house):
    with zipfile.ZipFile(full_house.export) as archive:
        readme = archive.read("README.txt").decode()

    for table in manifest(full_house.export)["tables"]:
        section = readme.split(f"\n{table['file']}\n", 1)[1].split("\ntables/", 1)[0]
        for column in table["columns"]:
            assert f"\n  {column}: " in section, (table["table"], column)
    assert (
        "tables/inventory/posting-line.csv\n---------------------------------\n"
        "Posting lines. Rows: "
    ) in readme
    assert (
        "A signed quantity of one item and lot at one place: grams of honey, or pieces." in readme
    )


def test_a_file_name_that_leads_elsewhere_is_refused(full_house, empty_house, tmp_path):
    content = manifest(full_house.export)
    name = "files/../../elsewhere"
    content["files"][name] = {
        # FIPS 180-4: the digest of no bytes at all.
        "sha256": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    }
    path = tmp_path / "x.zip"
    shutil.copyfile(full_house.export, tmp_path / "copy.zip")
    with zipfile.ZipFile(tmp_path / "copy.zip", "a") as archive:
        archive.writestr(name, b"")
    path = with_manifest(tmp_path / "copy.zip", path, files=content["files"])

    with pytest.raises(CannotBringIn, match="a name that is not allowed"):
        bringing_in.import_house(path)

    assert not (tmp_path / "elsewhere").exists()
