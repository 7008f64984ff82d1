"""Papers are read from one folder and from nowhere else; files travel packed and are kept."""

import gzip
import json
import os
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ingest.core.errors import OutputError
from ingest.display import shelf as shelf_module
from ingest.display.papers import Papers
from ingest.display.server import PageServer


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "papers"
    folder.mkdir()
    (tmp_path / "secret.html").write_text("secret")
    (folder / "w-118.html").write_text("<script>alert(1)</script>")
    (folder / "w-118.pdf").write_bytes(b"%PDF-1.7")
    (folder / "notes.txt").write_text("secret")
    (folder / ".hidden.html").write_text("secret")
    (folder / "deeper").mkdir()
    (folder / "deeper" / "x.html").write_text("secret")
    (folder / "link.html").symlink_to(tmp_path / "secret.html")
    (folder / "folder.html").mkdir()
    os.utime(folder / "w-118.pdf", (1, 1))
    return folder


@pytest.fixture
def served(folder: Path) -> Iterator[PageServer]:
    server = PageServer()
    server.lay_out(folder)
    server.start()
    yield server
    server.stop()


def get(server: PageServer, path: str, **headers: str) -> Any:
    asked = urllib.request.Request(server.url.rstrip("/") + path, headers=headers)
    return urllib.request.urlopen(asked, timeout=20)


def test_lists_papers_alone_the_newest_first(served: PageServer):
    assert json.loads(get(served, "/papers/").read()) == ["w-118.html", "w-118.pdf"]


def test_nothing_in_a_paper_runs(served: PageServer):
    with get(served, "/papers/w-118.html") as answer:
        policy = answer.headers["Content-Security-Policy"]
        assert answer.headers["Content-Type"].startswith("text/html")
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'; img-src data:;")
    assert "script" not in policy


@pytest.mark.parametrize(
    "name",
    ["../secret.html", "..%2fsecret.html", "%2e%2e/secret.html", "link.html", "deeper/x.html",
     "notes.txt", ".hidden.html", "folder.html", "%00.html", "/etc/passwd", "x.html"],
)  # fmt: skip
def test_nothing_outside_of_the_folder_is_read(served: PageServer, name: str):
    with pytest.raises(urllib.error.HTTPError) as refused:
        get(served, f"/papers/{name}")
    assert refused.value.code == 404
    assert b"secret" not in refused.value.read()


def test_a_folder_that_is_gone_holds_no_papers(tmp_path: Path):
    papers = Papers(tmp_path / "gone")
    assert papers.listing() == b"[]"
    assert papers.read("w-118.html") is None


def test_the_whole_page_is_light(served: PageServer):
    # The goal of the project: under 300 kB packed, libraries included.
    paths = [path for path in shelf_module.read_shelf() if path != "/index.html"]
    assert len(paths) > 35
    sent = 0
    for path in paths:
        with get(served, path, **{"Accept-Encoding": "gzip"}) as answer:
            assert answer.headers["Content-Encoding"] == "gzip"
            body = answer.read()
        assert gzip.decompress(body)
        sent += len(body)
    assert sent < 300_000


def test_a_file_that_the_browser_has_is_not_sent_again(served: PageServer):
    tag = get(served, "/main.js").headers["ETag"]
    with pytest.raises(urllib.error.HTTPError) as same:
        get(served, "/main.js", **{"If-None-Match": tag})
    assert same.value.code == 304
    assert same.value.read() == b""


def test_a_library_that_was_not_fetched_is_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(shelf_module, "LIBRARIES", ("odd.js",))
    with pytest.raises(OutputError, match=r"lacks its library odd\.js: run tools/setup"):
        PageServer().start()
