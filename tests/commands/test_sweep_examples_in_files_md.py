"""The files and commands that the FILES.md of sweep and level show are run as they stand there."""

import json
import re
import shlex
from pathlib import Path

import pytest

from ingest.cli import main

GEOMETRY = Path(__file__).parents[2] / "ingest" / "geometry"
FILE = re.compile(r"^```file (\S+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
RUN = re.compile(r"^```run\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@pytest.fixture
def run_examples(tmp_path, monkeypatch, capsys):
    """Write the files of a document, run its commands, return their answers and its text."""

    def run(room):
        text = (GEOMETRY / room / "FILES.md").read_text(encoding="utf-8")
        monkeypatch.chdir(tmp_path)
        for name, content in FILE.findall(text):
            Path(name).write_text(content)
        answers = []
        for line in "".join(RUN.findall(text)).splitlines():
            assert main([*shlex.split(line)[1:], "--json"]) == 0, line
            answers.append(json.loads(capsys.readouterr().out))
        return text, answers

    return run


def test_the_sweeps_of_the_document_are_those_of_the_printed_table(run_examples):
    # Caster 4, SAI 6, camber 0.5, printed to three decimals (see tests/certified).
    text, (one, drawn, both) = run_examples("sweep")
    assert Path("sweep.svg").exists()
    assert drawn["sai_deg"] == pytest.approx(one["sai_deg"], abs=0.001)
    for wheel in (one, both["left"], both["right"]):
        assert wheel["caster_deg"] == pytest.approx(4.0, abs=0.002)
        assert wheel["sai_deg"] == pytest.approx(6.0, abs=0.002)
        assert wheel["camber_deg"] == pytest.approx(0.5, abs=0.001)
    assert both["cross_caster_deg"] == pytest.approx(0.0, abs=0.002)
    for key in one:
        assert key in text or key.startswith("u_"), key
    for key in both:
        assert key in text or key.startswith("u_"), key


def test_the_level_of_the_document_is_what_can_be_reckoned_by_hand(run_examples):
    # The front is higher by 2.9 mm over 5.2 m, the right by 2.2 mm over 1.9 m (means of the staff).
    text, (answer,) = run_examples("level")
    assert answer["lengthwise_deg"] == pytest.approx(0.032, abs=0.001)
    assert answer["crosswise_deg"] == pytest.approx(-0.066, abs=0.002)
    assert (answer["due"], answer["overdue"], answer["dof"]) == ("2027-05-19", False, 1)
    for key in answer:
        assert key in text or key.startswith("u_"), key
