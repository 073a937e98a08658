"""Every byte of a backup is checked when it is opened, and a sealed one opens by its passphrase."""

import tarfile
from pathlib import Path

import pytest

from apiary_sales.keeping import archive, sealing
from apiary_sales.keeping.archive import Manifest
from inventory.shared.errors import BadValue

PASSPHRASE = "wild thyme and bell heather"
MANIFEST = Manifest("0.6.0", "2026-11-27T02:00:00+00:00", "sqlite", [], {"inventory_lot": 3})


@pytest.fixture(autouse=True)
def _fast_keys(monkeypatch):
    """Make keys fast: how long a guess takes is scrypt's to test."""
    monkeypatch.setattr(sealing, "COST", 2**4)


def made(folder: Path, passphrase: str = "") -> Path:
    """Write an archive of a database of 3 MB and one photo."""
    # Bytes that do not compress, so that it is more than one token long.
    (folder / "db").write_bytes(
        b"".join(n.to_bytes(4, "big") for n in range(0, 3_000_000_000, 4000))
    )
    (folder / "photo").write_bytes(b"a photo")
    path = folder / "honey.tar.gz"
    contents = [("database", folder / "db"), ("files/a1b2", folder / "photo")]
    with path.open("wb") as target:
        manifest = Manifest(**{**vars(MANIFEST), "members": []})
        archive.write(target, manifest, contents, passphrase)
    return path


@pytest.mark.parametrize("passphrase", ["", PASSPHRASE])
def test_what_was_written_comes_out_again(tmp_path, passphrase):
    path = made(tmp_path, passphrase)

    manifest = archive.extract(path, tmp_path / "out", passphrase)

    assert (tmp_path / "out" / "database").read_bytes() == (tmp_path / "db").read_bytes()
    assert (tmp_path / "out" / "files" / "a1b2").read_bytes() == b"a photo"
    assert (manifest.version, manifest.marks) == ("0.6.0", {"inventory_lot": 3})


def test_a_sealed_archive_opens_by_its_passphrase_alone(tmp_path):
    path = made(tmp_path, PASSPHRASE)

    with pytest.raises(BadValue) as refused:
        archive.extract(path, tmp_path / "a", "another passphrase")
    with pytest.raises(BadValue) as missing:
        archive.extract(path, tmp_path / "b")

    assert refused.value.message == (
        "This passphrase does not open the file, or the file was changed."
    )
    assert missing.value.message == "This backup is encrypted: give its passphrase."
    # Four letters alone come up by chance in so many bytes.
    assert b"files/a1b2" not in path.read_bytes()


@pytest.mark.parametrize("passphrase", ["", PASSPHRASE])
@pytest.mark.parametrize("cut", [2_000, 1_000_000])
def test_an_archive_that_was_cut_off_is_refused(tmp_path, passphrase, cut):
    path = made(tmp_path, passphrase)
    path.write_bytes(path.read_bytes()[:-cut])

    with pytest.raises(BadValue):
        archive.extract(path, tmp_path / "out", passphrase)


@pytest.mark.parametrize("order", [(0, 2, 1), (0, 1), (0, 1, 1, 2)])
def test_a_sealed_archive_whose_parts_were_moved_is_refused(tmp_path, order):
    path = made(tmp_path, PASSPHRASE)
    header, *parts = path.read_bytes().splitlines(keepends=True)
    assert len(parts) == 3
    path.write_bytes(header + b"".join(parts[number] for number in order))

    with pytest.raises(BadValue):
        archive.extract(path, tmp_path / "out", PASSPHRASE)


def test_an_archive_with_another_byte_in_a_file_is_refused(tmp_path):
    path = made(tmp_path)
    with tarfile.open(path) as source:
        source.extractall(tmp_path / "all", filter="data")
    (tmp_path / "all" / "files" / "a1b2").write_bytes(b"A photo")
    with tarfile.open(path, "w:gz") as changed:
        for file in sorted((tmp_path / "all").rglob("*")):
            if file.is_file():
                changed.add(file, file.relative_to(tmp_path / "all").as_posix())

    with pytest.raises(BadValue) as refused:
        archive.extract(path, tmp_path / "out")

    assert refused.value.message == (
        "honey.tar.gz does not hold what its list of checksums says: it is damaged."
    )


def test_an_archive_that_would_write_outside_its_folder_is_refused(tmp_path):
    path = tmp_path / "honey.tar.gz"
    (tmp_path / "evil").write_text("evil")
    with tarfile.open(path, "w:gz") as made_by_hand:
        made_by_hand.add(tmp_path / "evil", "files/../../evil-too")

    with pytest.raises(BadValue, match="which no backup of this service does"):
        archive.extract(path, tmp_path / "out")

    assert not (tmp_path / "evil-too").exists()


def test_a_short_passphrase_is_refused(tmp_path):
    with pytest.raises(BadValue) as refused:
        made(tmp_path, "eleven char")

    assert refused.value.message == "The passphrase is too short. Use at least 12 characters."
