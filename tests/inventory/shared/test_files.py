"""Files attached to things: what is accepted, how it is kept, how it is removed."""

import hashlib
import stat
from pathlib import Path

import pytest

from inventory.shared import file_contents
from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from inventory.shared.models import Attachment
from inventory.shared.queries import files as queries
from inventory.shared.services import files
from tests import builders
from tests.uploads import PDF, image, png_that_says, upload

ACCEPTED = "Accepted are PDF, JPEG, PNG, WebP, CSV and plain text, up to 10 MB."


@pytest.fixture
def customer(db):
    return builders.customer()


@pytest.fixture
def attach(customer, owner):
    def attach(file=None, *, to=None, key=None, **fields) -> Attachment:
        return files.attach(
            thing=to or customer,
            file=file or upload(),
            kind=fields.pop("kind", "laboratory"),
            added_by=owner,
            key=key or builders.new_key(),
            **fields,
        )

    return attach


@pytest.mark.parametrize(
    ("name", "content", "media_type", "kept_as"),
    [
        ("report.pdf", PDF, "application/pdf", "report.pdf"),
        ("photo.jpeg", image("JPEG"), "image/jpeg", "photo.jpeg"),
        ("photo.JPG", image("JPEG"), "image/jpeg", "photo.JPG"),
        ("photo.png", image("PNG"), "image/png", "photo.png"),
        ("photo.webp", image("WEBP"), "image/webp", "photo.webp"),
        ("figures.csv", b"lot;moisture\n26-E01;17,4 %\n", "text/csv", "figures.csv"),
        ("notes.txt", "Pálido, 17.4 %".encode("utf-8-sig"), "text/plain", "notes.txt"),
        # A name without an ending gets the one of its content.
        ("scan 3.2026", PDF, "application/pdf", "scan 3.2026.pdf"),
        ("notes", b"17.4 %", "text/plain", "notes.txt"),
    ],
)
def test_a_file_is_what_its_bytes_say(name, content, media_type, kept_as):
    found = file_contents.examine(content, name)

    assert (found.media_type, found.name) == (media_type, kept_as)


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("report.pdf", b"", "report.pdf is empty."),
        ("report.pdf", PDF.replace(b"%%EOF", b""), "report.pdf is a PDF whose end is missing."),
        (
            "photo.jpg",
            image("JPEG")[:-40],
            "photo.jpg can't be opened as a photo. Save or scan it again.",
        ),
        (
            "photo.png",
            b"\x89PNG\r\n\x1a\nbut not really",
            "photo.png can't be opened as a photo. Save or scan it again.",
        ),
        (
            "photo.gif",
            image("GIF"),
            "photo.gif is neither a document nor a photo of a kind that is accepted here.",
        ),
        (
            "report.pdf",
            b"PK\x03\x04\x14\x00\x00\x00",
            "report.pdf is neither a document nor a photo of a kind that is accepted here.",
        ),
        # What it is called is not what it is.
        ("report.exe", PDF, "report.exe ends in .exe, but what is in it is a PDF."),
        ("report.pdf", image("JPEG"), "report.pdf ends in .pdf, but what is in it is a picture."),
        (
            "report.pdf",
            b"<html><script>alert(1)</script>",
            "report.pdf ends in .pdf, but what is in it is plain text.",
        ),
        (
            "page.html",
            b"<script>alert(1)</script>",
            "page.html ends in .html, but what is in it is plain text.",
        ),
        # 8,000 × 8,000 pixels in a few kilobytes, and 60,000 × 60,000 in the header alone.
        (
            "wide.png",
            image("PNG", 8_000, 8_000),
            "wide.png has too many pixels: more than 50 million.",
        ),
        (
            "bomb.png",
            png_that_says(60_000, 60_000),
            "bomb.png has too many pixels: more than 50 million.",
        ),
    ],
)
def test_what_is_not_accepted_is_told_with_what_is(name, content, sentence):
    with pytest.raises(BadValue) as refused:
        file_contents.examine(content, name)

    assert (refused.value.parameter, refused.value.message) == ("file", f"{sentence} {ACCEPTED}")


@pytest.mark.parametrize("kind", ["laboratory", "certificate", "photo"])
@pytest.mark.parametrize("name", ["report.txt", "report.csv"])
def test_a_text_is_no_report_certificate_or_photo(attach, name, kind):
    with pytest.raises(BadValue) as refused:
        attach(upload(name, b"HMF;3"), kind=kind)

    assert refused.value.parameter == "kind"
    assert refused.value.message == (
        f"{name} is plain text. A {Attachment.Kind(kind).label} is a PDF or a picture. Choose "
        "“other paper” for it."
    )
    assert attach(upload(name, b"HMF;3"), kind="other").name == name


@pytest.mark.parametrize("size", [9_999_999, 10_000_000])
def test_a_file_of_ten_megabytes_is_accepted(size):
    content = PDF[:9] + b" " * (size - len(PDF)) + PDF[9:]

    assert file_contents.examine(content, "report.pdf").media_type == "application/pdf"


def test_a_file_of_a_byte_more_than_ten_megabytes_is_refused(attach):
    content = PDF[:9] + b" " * (10_000_001 - len(PDF)) + PDF[9:]

    with pytest.raises(BadValue) as refused:
        attach(upload("report.pdf", content))

    assert refused.value.message == (
        "report.pdf is larger than 10 MB. Make it smaller, or scan it again more coarsely. "
        + ACCEPTED
    )


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\Papers\\Lab report.pdf", "Lab report.pdf"),
        ("exe\u202efdp.pdf", "exefdp.pdf"),
        ("a\x00b\r\nc\u200b.pdf", "abc.pdf"),
        ("  spaces\u00a0 and   more .pdf ", "spaces and more .pdf"),
        ("..", "file"),
        ("\u202e", "file"),
        ("n" * 200 + ".pdf", "n" * 116 + ".pdf"),
    ],
)
def test_a_name_loses_its_path_and_what_is_not_seen(typed, plain):
    assert file_contents.plain_name(typed) == plain


def test_a_file_is_kept_under_a_random_name_for_the_service_alone(attach, settings, tmp_path):
    settings.FILES_DIR = tmp_path / "kept" / "files"

    made = attach(upload("Lab report 26-E01.pdf"), note=" for the packer ")

    kept = Path(made.file.path)
    assert kept.parent == settings.FILES_DIR
    assert len(kept.name) == 32
    assert set(kept.name) <= set("0123456789abcdef")
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.parent.stat().st_mode) == 0o700
    assert kept.read_bytes() == PDF
    read = Attachment.objects.get()
    assert (read.name, read.note, read.size_bytes) == (
        "Lab report 26-E01.pdf",
        "for the packer",
        len(PDF),
    )
    assert read.sha256 == hashlib.sha256(PDF).hexdigest()
    with pytest.raises(ValueError, match="through its page alone"):
        assert made.file.url


def test_the_same_form_twice_attaches_one_file(attach, settings, tmp_path):
    settings.FILES_DIR = tmp_path / "files"
    first = attach(key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        attach(upload("other.txt", b"other"), key="once")

    assert repeat.value.made == first
    assert len(list(settings.FILES_DIR.iterdir())) == 1


def test_the_same_file_is_attached_to_a_thing_once(attach):
    attach(upload("first.pdf"))

    with pytest.raises(BadValue, match=r"This file is attached already, as first\.pdf\."):
        attach(upload("second.pdf"))

    assert attach(to=builders.customer("Another")).name == "report.pdf"


def test_a_refused_file_leaves_nothing_behind(attach, settings, tmp_path):
    settings.FILES_DIR = tmp_path / "files"

    with pytest.raises(HouseError):
        attach(kind="unheard of")

    assert list(settings.FILES_DIR.iterdir()) == []
    assert not Attachment.objects.exists()


def test_a_removed_file_stays_with_who_removed_it(attach, customer, owner):
    made = attach()

    files.remove(attachment=made, removed_by=owner)

    found = queries.of_thing(customer)
    assert (found.there, found.removed) == ([], [made])
    assert found.removed[0].removed_by == owner
    assert Path(made.file.path).exists()
    with pytest.raises(NotAllowedNow, match=r"report\.pdf was removed already\."):
        files.remove(attachment=made, removed_by=owner)
    # What was removed by mistake can be attached again.
    assert attach().pk != made.pk


def test_files_are_attached_only_to_what_an_app_has_registered(attach, owner):
    with pytest.raises(LookupError, match=r"No app has registered accounts\.User for files"):
        attach(to=owner)


@pytest.mark.parametrize("count", [0, 3])
def test_the_files_of_a_thing_are_read_in_one_question(
    attach, customer, django_assert_num_queries, count
):
    queries.of_thing(customer)  # the content type is remembered from now on
    for number in range(count):
        attach(upload(f"{number}.txt", str(number).encode()), kind="other")

    with django_assert_num_queries(1):
        names = [each.added_by.username for each in queries.of_thing(customer).there]

    assert names == ["owner"] * count
