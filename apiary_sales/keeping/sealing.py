"""Lock a backup with a passphrase.

A sealed file is text. Its first line says how the key is made of the passphrase (scrypt, RFC 7914);
each further line is one Fernet token of the package `cryptography`. What a token holds begins with
its number and whether it is the last one, so that lines that were dropped, doubled or put in
another order are noticed.
"""

import base64
import binascii
import json
import os
import struct
from typing import TYPE_CHECKING, BinaryIO

from django.utils.translation import gettext as _

from inventory.shared.errors import BadValue

# Loaded by the first backup that is locked or opened.
if TYPE_CHECKING:
    from cryptography.fernet import Fernet

FORMAT = "honey house sealed 1"
PASSPHRASE_MIN = 12
CHUNK = 1024 * 1024
# 64 MB of memory and some tenths of a second for each guess.
COST, BLOCK, PARALLEL = 2**16, 8, 2
COST_MAX = 2**20
_HEAD = struct.Struct(">Q?")


def check_passphrase(passphrase: str) -> None:
    """Raise `BadValue` for a passphrase that could be guessed by trying."""
    if len(passphrase) < PASSPHRASE_MIN:
        raise BadValue(
            _("The passphrase is too short. Use at least %(least)d characters.")
            % {"least": PASSPHRASE_MIN},
            parameter="passphrase",
        )


def is_sealed(source: BinaryIO) -> bool:
    """Tell whether a file that is open at its start is sealed; it stays at its start."""
    begins = source.read(1)
    source.seek(0)
    return begins == b"{"


class Sealer:
    """A file to write to, which writes what it gets into another file, sealed."""

    def __init__(self, target: BinaryIO, passphrase: str) -> None:
        check_passphrase(passphrase)
        salt = os.urandom(16)
        header = {
            "format": FORMAT,
            "kdf": "scrypt",
            "n": COST,
            "r": BLOCK,
            "p": PARALLEL,
            "salt": base64.b64encode(salt).decode("ascii"),
        }
        self._target = target
        self._fernet = _fernet(passphrase, salt, COST, BLOCK, PARALLEL)
        self._waiting = bytearray()
        self._number = 0
        target.write(json.dumps(header).encode() + b"\n")

    def write(self, content: bytes) -> int:
        self._waiting += content
        while len(self._waiting) > CHUNK:
            self._seal(bytes(self._waiting[:CHUNK]), is_last=False)
            del self._waiting[:CHUNK]
        return len(content)

    def flush(self) -> None:
        """Do nothing: a token is written when it is full."""

    def end(self) -> None:
        self._seal(bytes(self._waiting), is_last=True)

    def _seal(self, content: bytes, *, is_last: bool) -> None:
        token = self._fernet.encrypt(_HEAD.pack(self._number, is_last) + content)
        self._target.write(token + b"\n")
        self._number += 1


class Opener:
    """A file to read from, which reads what was sealed. Raises `BadValue`."""

    def __init__(self, source: BinaryIO, passphrase: str) -> None:
        self._source = source
        self._left = bytearray()
        self._number = 0
        self._is_over = False
        try:
            header = json.loads(source.readline(1000))
            if header["format"] != FORMAT or header["n"] > COST_MAX:
                raise ValueError
            salt = base64.b64decode(header["salt"], validate=True)
            self._fernet = _fernet(passphrase, salt, header["n"], header["r"], header["p"])
        except (ValueError, KeyError, TypeError, binascii.Error):
            raise BadValue(
                _("This file is sealed in a way that this version does not know."),
                parameter="file",
            ) from None

    def read(self, size: int) -> bytes:
        while len(self._left) < size and not self._is_over:
            self._left += self._next()
        content = bytes(self._left[:size])
        del self._left[:size]
        return content

    def _next(self) -> bytes:
        from cryptography.fernet import InvalidToken

        line = self._source.readline(4 * CHUNK)
        if not line:
            raise BadValue(_("This file is not whole: its end is missing."), parameter="file")
        try:
            content = self._fernet.decrypt(line.strip())
        except InvalidToken:
            if self._number == 0:
                raise BadValue(
                    _("This passphrase does not open the file, or the file was changed."),
                    parameter="passphrase",
                ) from None
            raise BadValue(_("This file was changed or is damaged."), parameter="file") from None
        number, self._is_over = _HEAD.unpack_from(content)
        if number != self._number:
            raise BadValue(_("This file was changed or is damaged."), parameter="file")
        self._number += 1
        return content[_HEAD.size :]


def _fernet(passphrase: str, salt: bytes, cost: int, block: int, parallel: int) -> "Fernet":
    from cryptography.fernet import Fernet
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    key = Scrypt(salt=salt, length=32, n=cost, r=block, p=parallel).derive(passphrase.encode())
    return Fernet(base64.urlsafe_b64encode(key))
