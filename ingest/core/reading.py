"""Files opened for reading, but never a named pipe, which may keep whoever opens it for good."""

import errno
import io
import os
import stat
from pathlib import Path

SHELLS_OWN = ("/dev/fd/", "/proc/")
"""Where a shell shows what ``<(command)`` writes: a pipe that has its writer."""
PIPE = "is a named pipe, which may never end; a file is needed"


def open_file(path: Path) -> io.BufferedReader:
    """Open a file for reading in bytes. Raises ``OSError``, for a named pipe too."""
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY)
    try:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if stat.S_ISFIFO(mode) and not str(path).startswith(SHELLS_OWN):
            raise OSError(errno.EINVAL, PIPE)
        os.set_blocking(handle, True)
        return open(handle, "rb")
    except BaseException:
        os.close(handle)
        raise
