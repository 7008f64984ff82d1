"""Files written whole or not at all."""

import contextlib
import os
import shutil
from collections.abc import Callable
from pathlib import Path

from ingest.core.errors import InputError

BEGINNING = 1024
"""So many bytes tell what kind of file it is."""


def write_whole(path: Path, content: str | bytes) -> None:
    """Put ``content`` in the place of a file: whoever looks sees the old or the new, never half.

    It is on the disk when the call returns. Raises ``InputError`` when it cannot be written;
    what was there before is then still there. A file keeps its permissions.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    target = path.resolve()
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        try:
            with part.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if target.exists():
                shutil.copymode(target, part)
            part.replace(target)
        except BaseException:
            with contextlib.suppress(OSError):
                part.unlink()
            raise
        _sync_folder(target.parent)
    except OSError as error:
        reason = f"cannot be written: {(error.strerror or str(error)).lower()}"
        raise InputError(str(path), None, reason) from error


def see_replaceable(path: Path, own: Callable[[bytes], bool], what: str) -> None:
    """See to it that a file of some kind may be written here.

    Args:
        path: where.
        own: says of the first bytes of a file whether it is of that kind.
        what: the kind in words, such as ``PDF``.

    Raises ``InputError`` where there is no folder for it, or where what is there is of another
    kind: somebody's mistyped name would cost them, say, their readings.
    """
    if not path.parent.is_dir():
        raise InputError(str(path), None, "cannot be written: no such folder; make it first")
    if not path.exists():
        return
    start = b""
    if path.is_file():
        try:
            with path.open("rb") as file:
                start = file.read(BEGINNING)
        except OSError as error:
            reason = f"cannot be read: {(error.strerror or str(error)).lower()}"
            raise InputError(str(path), None, reason) from error
    if not path.is_file() or (start and not own(start)):
        reason = f"is there already and is no {what}; name another file, or move it away"
        raise InputError(str(path), None, reason)


def _sync_folder(folder: Path) -> None:
    """Make the new name outlive a power cut, where the system lets folders be synchronised."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
