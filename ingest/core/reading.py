"""Files that a person names, opened for reading: the one way to do it.

Never a named pipe, a device or a folder: each may keep whoever reads it for good, or never end.
"""

import errno
import io
import os
import stat
from pathlib import Path

SHELLS_OWN = ("/dev/fd/", "/proc/")
"""Where a shell shows what ``<(command)`` writes: a pipe that has its writer."""
PIPE = "is a named pipe, which may never end; a file is needed"
DEVICE = "is a device, which may never end; a file is needed"
MOST_BYTES = 64 * 1024 * 1024
"""More than any file that a person writes; a larger one is taken for a mistake."""


def open_file(path: Path) -> io.BufferedReader:
    """Open a file for reading in bytes. Raises ``OSError`` for what is none, too."""
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY)
    try:
        _see_a_file(path, os.fstat(handle).st_mode)
        os.set_blocking(handle, True)
        return open(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def read_file(path: Path, most_bytes: int = MOST_BYTES) -> bytes:
    """Return a file's content. Raises ``OSError``, for one that is too large, too."""
    with open_file(path) as file:
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise OSError(errno.EFBIG, f"larger than {most_bytes // 2**20} MiB")
    return content


def _see_a_file(path: Path, mode: int) -> None:
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if stat.S_ISFIFO(mode) and not str(path).startswith(SHELLS_OWN):
        raise OSError(errno.EINVAL, PIPE)
    if (stat.S_ISCHR(mode) or stat.S_ISBLK(mode)) and str(path) != os.devnull:
        raise OSError(errno.EINVAL, DEVICE)
