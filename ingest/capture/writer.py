"""Writes a capture: an MCAP file, in a thread of its own, safe against crashes.

Each record is a chunk of its own with its checksum, so a torn file loses the record in which it
was torn and none before. Written through to the disk once a second. There is no index: a replay
reads from front to back.
"""

import os
import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from ingest.capture.blocks import Chunks, beginning, ending
from ingest.core.errors import InputError
from ingest.core.recording import Record

SYNC_S = 1.0
WAITING = 50_000
"""Records that may wait for a slow disk; more are lost, and said to be."""


class CaptureWriter:
    """Keeps records in a new file. ``note`` never blocks and never raises.

    ``on_trouble`` is called once, from the writer's thread, with one line, when the file cannot
    be written any more; what comes after is lost.
    """

    def __init__(self, path: Path, on_trouble: Callable[[str], None]) -> None:
        """Make the file.

        Raises:
            InputError: it exists already, or cannot be made.
        """
        self._path = path
        self._on_trouble = on_trouble
        self._file = new_file(path)
        self._queue: queue.Queue[Record | None] = queue.Queue(WAITING)
        self._troubled = False
        self._chunks = Chunks()
        self._thread = threading.Thread(target=self._run, name="capture", daemon=True)
        self._thread.start()

    def note(self, topic: str, data: bytes, at_ns: int, wall_ns: int) -> None:
        """Keep one record."""
        if self._troubled:
            return
        try:
            self._queue.put_nowait(Record(topic, data, at_ns, wall_ns))
        except queue.Full:
            self._trouble("the disk is too slow")

    def close(self) -> None:
        """Write what is left and close the file. Idempotent."""
        if self._thread.is_alive():
            self._queue.put(None)
            self._thread.join()

    def _run(self) -> None:
        try:
            self._file.write(beginning())
            self._write_all()
            self._file.write(ending())
            self._sync()
        except OSError as error:
            self._trouble(error.strerror or str(error))
            self._drain()
        finally:
            self._shut()

    def _write_all(self) -> None:
        """Write until told to stop; sync when a second has passed and something was written."""
        fresh = False
        while True:
            try:
                record = self._queue.get(timeout=SYNC_S if fresh else None)
            except queue.Empty:
                self._sync()
                fresh = False
                continue
            if record is None:
                return
            self._file.write(self._chunks.chunk(record))
            if not fresh:
                fresh, due_ns = True, record.at_ns + round(SYNC_S * 1e9)
            elif record.at_ns >= due_ns:
                self._sync()
                due_ns = record.at_ns + round(SYNC_S * 1e9)

    def _sync(self) -> None:
        self._file.flush()
        os.fdatasync(self._file.fileno())

    def _shut(self) -> None:
        try:
            self._file.close()
        except OSError as error:
            self._trouble(error.strerror or str(error))

    def _drain(self) -> None:
        """Let nobody wait for a file that is gone."""
        while self._queue.get() is not None:
            pass

    def _trouble(self, why: str) -> None:
        if not self._troubled:
            self._troubled = True
            self._on_trouble(f"{self._path}: {why}; the capture ends here, measuring goes on")


def new_file(path: Path) -> BinaryIO:
    """Make a file that was not there. Raises ``InputError``."""
    try:
        return path.open("xb")
    except FileExistsError as error:
        reason = "exists already, and a capture is never overwritten; choose another name"
        raise InputError(str(path), None, reason) from error
    except OSError as error:
        raise InputError(str(path), None, f"cannot be written: {error.strerror}") from error
