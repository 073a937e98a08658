"""An export sees one state of the house, and nobody waits for it.

It is tried in a process of its own, in which Django opens a second connection.
"""

import shutil

from django.db import connection

from tests.upgrade import databases

CODE = """
from apiary_sales.keeping.one_state import snapshot
from inventory.stock.models import Item

def names(using):
    lids = Item.objects.using(using).filter(name__startswith="Lid")
    return sorted(lids.values_list("name", flat=True))

before = Item.objects.create(kind="part", name="Lid before")
try:
    with snapshot() as using:
        Item.objects.create(kind="part", name="Lid meanwhile")
        Item.objects.filter(pk=before.pk).update(name="Lid renamed")
        assert names(using) == ["Lid before"], names(using)
        assert names("default") == ["Lid meanwhile", "Lid renamed"], names("default")
    with snapshot() as using:
        assert names(using) == ["Lid meanwhile", "Lid renamed"], names(using)
finally:
    Item.objects.filter(name__startswith="Lid").delete()
"""


def test_what_others_write_meanwhile_is_not_seen(db, empty_database, tmp_path):
    if connection.vendor == "sqlite":
        database = tmp_path / "honey.sqlite3"
        shutil.copyfile(empty_database, database)
        url = databases.sqlite_url(database)
    else:
        url = "postgres://{USER}@{HOST}:{PORT}/{NAME}".format(**connection.settings_dict)

    run = databases.run(CODE, data_dir=tmp_path, database_url=url)

    assert run.returncode == 0, run.stderr
