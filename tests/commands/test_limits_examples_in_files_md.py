"""What the document of limits shows is written, run in its order and compared."""

import re
import shlex
from pathlib import Path

import pytest

from ingest.cli import main
from ingest.job.limits.limit import EVERY, ROLES, VEHICLE
from ingest.job.limits.quantities import Form, Quantity
from ingest.payload.limits_file import COLUMNS, LimitEntry, LimitsFile

TEXT = (Path(__file__).parents[2] / "ingest" / "job" / "limits" / "FILES.md").read_text("utf-8")
BLOCKS = re.findall(r"^```(file|run|says) ?(\S*)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)


def test_the_commands_say_what_the_document_shows(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    out, kinds = "", []
    for kind, name, content in BLOCKS:
        kinds.append(kind)
        if kind == "file":
            Path(name).write_text(content)
        elif kind == "run":
            for line in content.splitlines():
                assert main(shlex.split(line)[1:]) == 0, capsys.readouterr().err
            out, err = capsys.readouterr()
            assert err == ""
        else:
            assert content
            for said in content.splitlines():
                assert said in out.splitlines()
    assert kinds == ["file", "run", "says", "run", "says"]


@pytest.mark.parametrize(
    "names",
    [LimitsFile.model_fields, LimitEntry.model_fields, COLUMNS, Quantity, (*ROLES, EVERY, VEHICLE)],
)
def test_the_tables_tell_every_key_and_word(names):
    assert all(f"`{name}`" in TEXT for name in names)


@pytest.mark.parametrize("quantity", Quantity)
def test_the_table_tells_the_units_of_a_quantity(quantity):
    (row,) = [
        line for line in TEXT.splitlines() if re.match(rf"\| .*`{quantity}`.* \| .* \| ", line)
    ]
    told = {"all": Form.SLOPE, "`deg`, `deg-min`, `arcmin`": Form.ANGLE}
    assert told.get(row.split(" | ")[-1].removesuffix(" |"), Form.LENGTH) is quantity.kind.form
    assert quantity.kind.of.value in row
