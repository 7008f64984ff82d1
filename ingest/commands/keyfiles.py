"""Key files: the private one is made for its owner alone, and never within a repository."""

import argparse
import contextlib
import os
import stat
from collections.abc import Iterable
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from calibration.records.keys import private_pem, public_pem, read_private, read_public
from ingest.core.errors import InputError
from ingest.core.reading import open_file

MOST_BYTES = 64 * 1024
"""A key in PEM has some 120."""

PUBLIC_SUFFIX = ".pub"
OWNER_ONLY = 0o600
OTHERS = 0o077


def make_key_files(path: Path) -> tuple[Ed25519PublicKey, Path]:
    """Make a key pair: the private key in ``path``, the public one in ``path.pub``.

    Returns the public key and its file. Raises ``InputError`` when one of the files is there
    already, when the place is within a repository, or when others could read the private key.
    """
    public_path = path.with_name(path.name + PUBLIC_SUFFIX)
    _refuse_repository(path)
    for each in (path, public_path):
        if os.path.lexists(each):
            raise InputError(str(each), None, "is there already; a key is never overwritten")
    key = Ed25519PrivateKey.generate()
    _create(path, private_pem(key), OWNER_ONLY)
    try:
        _create(public_path, public_pem(key.public_key()), 0o644)
    except InputError:
        path.unlink()
        raise
    return key.public_key(), public_path


def load_private(path: Path) -> Ed25519PrivateKey:
    """Return the key in a file. Raises ``InputError`` and ``CalibrationFileError``."""
    key = read_private(_read(path), str(path))
    if stat.S_IMODE(path.stat().st_mode) & OTHERS:
        reason = f"others than its owner can open this private key; chmod 600 {path}"
        raise InputError(str(path), None, reason)
    return key


def add_public_keys(parser: argparse.ArgumentParser) -> None:
    """Declare ``--key``, which may be given several times, as ``keys``."""
    parser.add_argument(
        "--key",
        type=Path,
        action="append",
        default=[],
        metavar="PUB",
        dest="keys",
        help="public key; one of those given must have signed",
    )


def load_public(paths: Iterable[Path]) -> dict[Path, Ed25519PublicKey]:
    """Return the keys in files. Raises ``InputError`` and ``CalibrationFileError``."""
    return {path: read_public(_read(path), str(path)) for path in paths}


def _read(path: Path) -> bytes:
    try:
        with open_file(path) as file:
            return file.read(MOST_BYTES)
    except OSError as error:
        raise InputError(str(path), None, (error.strerror or "cannot be read").lower()) from error


def _refuse_repository(path: Path) -> None:
    """A private key in a work tree is one ``git add`` away from everybody."""
    folder = path.absolute().parent.resolve()
    for each in (folder, *folder.parents):
        if (each / ".git").exists():
            reason = (
                f"lies in the git work tree {each}, where a private key would sooner or later be "
                "committed and read by others; name a place outside of any repository"
            )
            raise InputError(str(path), None, reason)


def _create(path: Path, data: bytes, mode: int) -> None:
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0)
        handle = os.open(path, flags, mode)
    except FileNotFoundError as error:
        reason = "cannot be made: no such file or directory"
        raise InputError(
            str(path), None, f"{reason}; make its folder: mkdir -p -m 700 {path.parent}"
        ) from error
    except OSError as error:
        reason = f"cannot be made: {(error.strerror or str(error)).lower()}"
        raise InputError(str(path), None, reason) from error
    try:
        with os.fdopen(handle, "wb") as file:
            if mode == OWNER_ONLY and stat.S_IMODE(os.fstat(file.fileno()).st_mode) & OTHERS:
                reason = "this file system lets others read it; name a place on another"
                raise InputError(str(path), None, reason)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException as error:
        with contextlib.suppress(OSError):
            path.unlink()
        if isinstance(error, OSError):
            reason = f"cannot be written: {(error.strerror or str(error)).lower()}"
            raise InputError(str(path), None, reason) from error
        raise
