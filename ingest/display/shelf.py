"""The files of the page, read once, and packed for whoever takes them packed."""

import gzip
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable

FETCHED = "fetched"
"""Folder of what set-up fetches; nothing in it is part of this project."""

LIBRARIES = ("mqtt.esm.js", "uPlot.iife.min.js", "uPlot.min.css")

TYPES: Mapping[str, str] = {
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "json": "application/json",
    "svg": "image/svg+xml",
}


@dataclass(frozen=True, slots=True)
class Sheet:
    """One file as it is sent."""

    body: bytes
    packed: bytes
    """The same under gzip."""
    content_type: str
    tag: str
    """Changes with the body: a browser that has it is told so instead of getting it again."""


class NotFetched(Exception):
    """The page's libraries are not there. The text says what to do."""


def sheet(body: bytes, content_type: str) -> Sheet:
    """Return a file ready to be sent."""
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    return Sheet(body, gzip.compress(body, 9, mtime=0), content_type, tag)


def read_shelf() -> Mapping[str, Sheet]:
    """Return every file of the page by its path on the server. Raises ``NotFetched``."""
    root = resources.files("ingest.display").joinpath("page")
    fetched = root.joinpath(FETCHED)
    for name in LIBRARIES:
        if not fetched.joinpath(name).is_file():
            raise NotFetched(
                f"the display lacks its library {name}: run tools/setup, which fetches it"
            )
    found = {
        path: sheet(file.read_bytes(), TYPES[path.rpartition(".")[2]])
        for path, file in _walk(root, "/")
    }
    return {**found, "/": found["/index.html"]}


def _walk(folder: Traversable, at: str) -> Iterator[tuple[str, Traversable]]:
    for each in folder.iterdir():
        if each.is_dir():
            yield from _walk(each, f"{at}{each.name}/")
        elif each.name.rpartition(".")[2] in TYPES:
            yield f"{at}{each.name}", each
