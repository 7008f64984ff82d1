"""The files and commands that FILES.md shows are written and run as they stand there."""

import json
import re
import shlex
from hashlib import sha256
from pathlib import Path

import pytest

from calibration.records.text import load_record
from ingest.cli import main

FILES = Path(__file__).parents[2] / "calibration" / "FILES.md"
FILE = re.compile(r"^```file (\S+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
RUN = re.compile(r"^```run\n(.*?)^```$", re.MULTILINE | re.DOTALL)
KINDS = {"sphere", "steps", "reversal", "oven", "turn", "closure", "bar", "still"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """The folder after all commands have run; what each printed and ended with."""
    folder = tmp_path_factory.mktemp("bench")
    text = FILES.read_text(encoding="utf-8")
    for name, content in FILE.findall(text):
        (folder / name).write_text(content)
    told = []
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        for line in "".join(RUN.findall(text)).splitlines():
            command, _, wanted = line.partition(" # exit ")
            out = folder / "out.json"
            with out.open("w") as file, pytest.MonkeyPatch.context() as inner:
                inner.setattr("sys.stdout", file)
                code = main([*shlex.split(command)[1:], "--json"])
            told.append((line, code, int(wanted or 0), json.loads(out.read_text())))
    return folder, told


def test_every_kind_of_file_has_an_example_that_is_run():
    text = FILES.read_text(encoding="utf-8")
    names = [name for name, _ in FILE.findall(text)]
    commands = "".join(RUN.findall(text))
    assert {name.partition(".")[0] for name in names} >= KINDS
    assert all(f"{kind}.csv" in commands for kind in KINDS)


def test_every_command_ends_as_the_document_says(bench):
    _, told = bench
    assert told
    for line, code, wanted, _ in told:
        assert code == wanted, line


def test_every_answer_says_its_rank_what_is_open_and_what_to_read_next(bench, capsys):
    folder, told = bench
    for line, _, _, answer in told:
        each = (answer.get("channels") or [answer])[0]
        assert each["next"], line
        words = [w for w in shlex.split(line)[1:] if not w.startswith("#")]
        kept = [w for i, w in enumerate(words) if "-o" not in (w, words[i - 1])]
        with pytest.MonkeyPatch.context() as patch:
            patch.chdir(folder)
            main([w for w in kept if w not in ("exit", "3")])
        text = capsys.readouterr().out
        assert "next: " in text, line
        assert "still open" in text, line
        assert re.search(r"rank \d+ of \d+", text) or "still" in line, line


def test_the_examples_make_drafts_that_hold(bench):
    folder, _ = bench
    a, b = (load_record((folder / f"{x}.json").read_text(), x) for x in "AB")
    assert a.tilt is not None
    assert set(a.encoders) == {"rotation", "steer", "azimuth_cross"}
    assert {raw.what for raw in a.raw} == {f"{kind}.csv" for kind in KINDS}
    assert {fit.kind for fit in a.fits} == {"tilt", "encoder", "bar"}
    assert {found.channel for found in a.stability} == {"incl_x", "incl_y"}
    assert all(found.curve for found in a.stability)
    assert b.head_id != a.head_id
    assert set(b.encoders) == {"azimuth_cross"}
    assert (folder / "still-incl_x.svg").read_text().startswith("<svg")


def test_the_draft_has_the_hash_of_each_file(bench):
    folder, _ = bench
    record = load_record((folder / "A.json").read_text(), "A.json")
    for raw in record.raw:
        content = (folder / raw.what).read_bytes()
        assert (raw.sha256, raw.bytes) == (sha256(content).hexdigest(), len(content))


def test_every_fit_in_the_draft_has_its_covariance(bench):
    folder, _ = bench
    for fit in load_record((folder / "A.json").read_text(), "A.json").fits:
        determined = [i for i, name in enumerate(fit.names) if name not in fit.undetermined]
        for i in determined:
            assert fit.covariance[i][i] == pytest.approx(fit.u[i] ** 2)
