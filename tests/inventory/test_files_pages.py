"""The pages of attached files: who may add, open and remove them, and what browsers get."""

import pytest
from django.urls import reverse

from inventory.shared.models import Attachment
from inventory.shared.services import files
from tests import builders
from tests.uploads import PDF, image, upload


@pytest.fixture
def lot(db):
    return builders.lot_in(builders.place("tank-1"))


@pytest.fixture
def attached(owner):
    def attached(thing, name="report.pdf", content=PDF) -> Attachment:
        return files.attach(
            thing=thing,
            file=upload(name, content),
            kind="other",
            added_by=owner,
            key=builders.new_key(),
        )

    return attached


def address(attachment: Attachment, name: str = "inventory:file") -> str:
    return reverse(name, args=[attachment.pk])


def test_a_file_is_added_and_shown_on_the_page_of_its_thing(client, lot):
    client.force_login(builders.person("bottling"))
    page = reverse("inventory:lot_detail", args=[lot.code])
    add = reverse("inventory:file_add", args=["lot", lot.pk])
    assert add in client.get(page).text
    form = client.get(add).context["form"]

    answer = client.post(
        add,
        {"key": form["key"].value(), "kind": "laboratory", "file": upload("Lab <b>.pdf")},
        follow=True,
    )

    assert answer.redirect_chain == [(page, 302)]
    made = Attachment.objects.get()
    assert (made.thing, made.kind, made.name) == (lot, "laboratory", "Lab <b>.pdf")
    assert f'<a href="{address(made)}">Lab &lt;b&gt;.pdf</a>' in answer.text


def test_a_refusal_is_shown_at_the_file(client, lot):
    client.force_login(builders.person("owner"))

    answer = client.post(
        reverse("inventory:file_add", args=["lot", lot.pk]),
        {"key": "k", "kind": "photo", "file": upload("photo.gif", image("GIF"))},
    )

    assert answer.status_code == 422
    assert answer.context["form"].errors["file"] == [
        "photo.gif is neither a document nor a photo of a kind that is accepted here. "
        "Accepted are PDF, JPEG, PNG, WebP, CSV and plain text, up to 10 MB."
    ]
    assert 'enctype="multipart/form-data"' in answer.text


@pytest.mark.parametrize(
    ("name", "content", "content_type", "disposition"),
    [
        ("Ü.pdf", PDF, "application/pdf", "inline; filename*=utf-8''%C3%9C.pdf"),
        ("a.png", image("PNG"), "image/png", 'inline; filename="a.png"'),
        ("a.csv", b"a;b", "text/csv; charset=utf-8", 'attachment; filename="a.csv"'),
        ("x.txt", b"<b>", "text/plain; charset=utf-8", 'attachment; filename="x.txt"'),
    ],
)
def test_a_file_is_handed_out_as_what_it_is_and_runs_nothing(
    client, lot, attached, name, content, content_type, disposition
):
    client.force_login(builders.person("stand"))

    answer = client.get(address(attached(lot, name, content)))

    assert (answer.status_code, answer.content) == (200, content)
    assert answer["Content-Type"] == content_type
    assert answer["Content-Disposition"] == disposition
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"].startswith("default-src 'none'; sandbox")
    assert answer["Cache-Control"] == "private, no-store"


def test_files_of_buyers_are_seen_by_those_who_may_see_buyers(client, attached):
    kept = attached(builders.customer())
    opened = {}
    for role in ("owner", "office", "bottling", "stand"):
        client.force_login(builders.person(role))
        opened[role] = client.get(address(kept)).status_code
    client.logout()
    opened["nobody"] = client.get(address(kept)).status_code

    assert opened == {"owner": 200, "office": 200, "bottling": 200, "stand": 403, "nobody": 302}


def test_those_who_may_only_see_are_offered_no_button_and_refused(client, attached, lot):
    kept = attached(lot)
    client.force_login(builders.person("stand"))

    page = client.get(reverse("inventory:lot_detail", args=[lot.code])).text
    refused = [
        client.post(reverse("inventory:file_add", args=["lot", lot.pk]), {}),
        client.post(address(kept, "inventory:file_remove"), {"key": "k"}),
        client.get(reverse("inventory:file_add", args=["nothing", 1])),
        client.get(reverse("inventory:file_remove", args=[kept.pk + 1])),
    ]

    assert address(kept) in page
    assert "Add a file" not in page
    assert [answer.status_code for answer in refused] == [403] * 4
    kept.refresh_from_db()
    assert not kept.is_removed


def test_a_removed_file_is_named_on_the_page_and_not_handed_out(client, attached):
    shop = builders.customer()
    kept = attached(shop)
    client.force_login(builders.person("office"))
    remove = address(kept, "inventory:file_remove")
    assert client.get(remove).status_code == 200

    page = client.post(remove, {"key": "k"}, follow=True)

    assert page.redirect_chain == [(reverse("customers:detail", args=[shop.pk]), 302)]
    assert "report.pdf is removed." in page.text
    assert "1 file was removed" in page.text
    assert client.get(address(kept)).status_code == 404


def test_a_file_that_a_backup_left_out_is_told_in_words(client, attached, lot):
    kept = attached(lot)
    kept.file.delete(save=False)
    client.force_login(builders.person("owner"))

    answer = client.get(address(kept))

    assert answer.status_code == 410
    assert "restore its folder of files too" in answer.text
