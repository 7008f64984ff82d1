"""What the document of vehicle files shows is written, run and compared as it stands there."""

import re
import shlex
from pathlib import Path

import pytest

from ingest.cli import main
from ingest.payload.vehicle_axle import AxleTable, RideHeightTable, TyreTable
from ingest.payload.vehicle_file import (
    BlockedTable,
    CouplingTable,
    LoadTable,
    UnitTable,
    VehicleFile,
)

FILES = Path(__file__).parents[2] / "ingest" / "job" / "FILES.md"
TEXT = FILES.read_text(encoding="utf-8")
FILE = dict(re.findall(r"^```file (\S+)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL))
SAYS = dict(re.findall(r"^```says (\S+)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL))
RUN = [
    line
    for block in re.findall(r"^```run\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
    for line in block.splitlines()
]
TABLES = {
    "Keys of the file": VehicleFile,
    "`load`": LoadTable,
    "`unit`": UnitTable,
    "`coupling`": CouplingTable,
    "`axle`": AxleTable,
    "`tyre`": TyreTable,
    "`ride_height`": RideHeightTable,
    "`blocked`": BlockedTable,
}


@pytest.mark.parametrize("line", RUN)
def test_every_command_says_what_the_document_shows(line, tmp_path, monkeypatch, capsys):
    command, _, wanted = line.partition(" # exit ")
    words = shlex.split(command)[1:]
    name = next(word for word in words if word in FILE)
    (tmp_path / name).write_text(FILE[name])
    monkeypatch.chdir(tmp_path)
    assert main(words) == int(wanted or 0)
    out, err = capsys.readouterr()
    for said in SAYS[name].splitlines():
        assert said in (out + err).splitlines()


def test_every_file_is_run():
    used = {word for line in RUN for word in shlex.split(line) if word in FILE}
    assert used == set(FILE) == set(SAYS)
    assert all(SAYS.values())


@pytest.mark.parametrize("title", TABLES)
def test_the_tables_list_the_keys_that_are_read_and_which_are_needed(title):
    section = re.search(rf"^## {title}\n(.*?)(?=^##|\Z)", TEXT, re.MULTILINE | re.DOTALL)[1]
    rows = re.findall(r"^\| (`.*?) \| (\w+)", section, re.MULTILINE)
    shown = {
        key: needed == "yes" for names, needed in rows for key in re.findall(r"`(\w+)`", names)
    }
    fields = TABLES[title].model_fields
    assert shown == {key: field.is_required() for key, field in fields.items()}


def test_every_adjuster_of_an_axle_is_listed():
    section = TEXT[TEXT.index("## Adjusters") :]
    listed = set(
        re.findall(r"^\| `(\w+)` \|", section[: section.index("## `blocked`")], re.MULTILINE)
    )
    place = list(AxleTable.model_fields).index("ride_height")
    assert listed == set(list(AxleTable.model_fields)[place + 1 :])
