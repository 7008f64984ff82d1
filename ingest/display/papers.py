"""Reports and certificates: what lies in one folder, to be read and nothing else."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

MOST_LISTED = 200
MOST_BYTES = 64 * 1024 * 1024
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,120}")
"""A plain name: no separator, no leading dot, nothing to be escaped."""

TYPES: Mapping[str, str] = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "json": "application/json",
    "xml": "application/xml",
    "csv": "text/csv; charset=utf-8",
}


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper as it is sent."""

    body: bytes
    content_type: str


class Papers:
    """The papers of a folder. Nothing outside of it is ever read, links that lead out neither."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder.resolve()

    def listing(self) -> bytes:
        """Return the names as JSON, the newest first; an empty list where the folder is gone."""
        try:
            found = [path for path in self._folder.iterdir() if self._own(path.name) is not None]
            found.sort(key=lambda path: path.stat().st_mtime, reverse=True)
        except OSError:
            found = []
        return json.dumps([path.name for path in found[:MOST_LISTED]]).encode()

    def read(self, name: str) -> Paper | None:
        """Return a paper; None where there is none of that name."""
        path = self._own(name)
        if path is None:
            return None
        try:
            if path.stat().st_size > MOST_BYTES:
                return None
            return Paper(path.read_bytes(), TYPES[path.suffix[1:]])
        except OSError:
            return None

    def _own(self, name: str) -> Path | None:
        if not _NAME.fullmatch(name) or name.rpartition(".")[2] not in TYPES:
            return None
        try:
            path = (self._folder / name).resolve(strict=True)
        except OSError:
            return None
        return path if path.parent == self._folder and path.is_file() else None
