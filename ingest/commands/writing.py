"""Files written whole or not at all."""

import contextlib
import os
import shutil
from pathlib import Path

from ingest.core.errors import InputError


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


def _sync_folder(folder: Path) -> None:
    """Make the new name outlive a power cut, where the system lets folders be synchronised."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
