"""What the document of correction files shows is written, run and compared as it stands there."""

import json
import re
import shlex
from pathlib import Path

import pytest

from ingest.cli import main
from ingest.payload import adjusters
from ingest.payload.adjuster_parts import AtEnds, OnLever, Threaded

FILES = Path(__file__).parents[2] / "ingest" / "geometry" / "corrections" / "FILES.md"
TEXT = FILES.read_text(encoding="utf-8")
FILE = dict(re.findall(r"^```file (\S+)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL))
SAYS = dict(re.findall(r"^```says (\S+)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL))
RUN = [
    line
    for block in re.findall(r"^```run\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
    for line in block.splitlines()
]
TABLES = {
    model.model_fields["kind"].annotation.__args__[0]: model
    for model in vars(adjusters).values()
    if isinstance(model, type) and "kind" in getattr(model, "model_fields", {})
}
SHARED = {"threads": Threaded, "heading of an axle": AtEnds, "steering": OnLever}


def keys_shown(section):
    """Names in the first column of a section's own table."""
    rows = re.findall(r"^\| (`.*?) \|", section, re.MULTILINE)
    return {name for row in rows for name in re.findall(r"`(\w+)`", row)}


def section(title, level):
    found = re.search(
        rf"^{level} {title}\n(.*?)(?=^##|\Z)", TEXT, re.MULTILINE | re.DOTALL | re.IGNORECASE
    )
    assert found is not None, title
    return found[1]


@pytest.mark.parametrize("line", RUN)
def test_every_command_says_what_the_document_shows(line, tmp_path, monkeypatch, capsys):
    command, _, wanted = line.partition(" # exit ")
    words = shlex.split(command)[1:]
    name = words[-1]
    (tmp_path / name).write_text(FILE[name])
    monkeypatch.chdir(tmp_path)
    assert main(words) == int(wanted or 0)
    out, err = capsys.readouterr()
    assert SAYS[name]
    for said in SAYS[name].splitlines():
        assert said in (out + err).splitlines()
    assert main([*words, "--json"]) == int(wanted or 0)
    out, err = capsys.readouterr()
    assert (err == "") == (wanted == "")
    if not wanted:
        texts = [step["text"] for step in json.loads(out)["steps"]]
        assert all(text in SAYS[name] for text in texts)


def test_every_file_is_run_and_every_kind_has_an_example():
    assert {shlex.split(line)[2] for line in RUN} == set(FILE) == set(SAYS)
    kinds = {json.loads(text)["adjuster"]["kind"] for text in FILE.values()}
    assert kinds == set(TABLES)


@pytest.mark.parametrize("kind", sorted(TABLES))
def test_the_tables_list_the_keys_that_are_read(kind):
    model = TABLES[kind]
    inherited = {
        k for base in SHARED.values() if issubclass(model, base) for k in base.model_fields
    }
    own = set(model.model_fields) - inherited - {"kind"}
    assert keys_shown(section(f"`{kind}`", "###")) == own


@pytest.mark.parametrize("title", sorted(SHARED))
def test_the_tables_of_shared_keys_list_them(title):
    own = set(SHARED[title].model_fields)
    if title == "steering":
        own -= set(Threaded.model_fields)
    assert keys_shown(section(title, "##")) == own
