"""``levelhead toe``: the published conversions on the command line, and what is refused."""

import json

import pytest

from ingest.cli import main


@pytest.fixture
def toe(capsys):
    """Run the command."""

    def run(*words):
        try:
            code = main(["toe", *words])
        except SystemExit as stop:
            code = stop.code
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_a_published_example_in_all_units(toe):
    # 0.15 deg on 24 in: 0.062832 in (a workshop's published example).
    code, out, _ = toe("0.15", "deg", "--diameter-in", "24", "--json")
    told = json.loads(out)
    assert code == 0
    assert told["in"] == pytest.approx(0.062832, abs=5e-7)
    assert told["mm"] == pytest.approx(0.062832 * 25.4, abs=2e-5)
    assert (told["deg_min"], told["arcmin"]) == ("0:09.000", pytest.approx(9.0))
    assert told["diameter_mm"] == pytest.approx(609.6)
    assert told["of"] == "wheel"


def test_inches_may_be_written_as_fractions(toe):
    # 1/8 in in all on 26 in: two times 0.138 deg (0.13773).
    told = json.loads(toe("1/8", "in", "--diameter-in", "26", "--total", "--json")[1])
    assert told["deg"] == pytest.approx(2 * 0.13773, abs=1e-5)
    assert json.loads(toe("1 1/8", "in", "--diameter-in", "26", "--json")[1])["in"] == 1.125


def test_minutes_of_toe_out_keep_their_sign(toe):
    told = json.loads(toe("-0:05.5", "deg-min", "--json")[1])
    assert told["deg"] == pytest.approx(-5.5 / 60.0)
    assert (told["deg_min"], told["mm"], told["in"]) == ("-0:05.500", None, None)
    back = json.loads(toe(told["deg_min"], "deg-min", "--json")[1])
    assert back["deg"] == told["deg"]


def test_people_are_told_the_diameter_beside_each_length(toe):
    _, out, _ = toe("-1/16", "in", "--diameter-mm", "500")
    assert out.count("across 500 mm (19.685 in)") == 2
    assert "−1.58750 mm" in out
    assert "--diameter-mm" in toe("0.1", "deg")[1]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("1/16", "in"), "needs the diameter"),
        (("1", "mm"), "needs the diameter"),
        (("1,5", "mm/m"), "not a comma"),
        (("0.1", "rad"), "no unit of toe"),
        (("30", "deg"), "is the unit right?"),
        (("600", "mm", "--diameter-mm", "500"), "more than it is measured across"),
        (("0:75", "deg-min"), "a degree has 60"),
        (("5", "deg-min"), "not degrees and minutes"),
        (("nan", "deg"), "not a finite number"),
        (("1/0", "in", "--diameter-in", "20"), "not a finite number"),
        (("1", "mm", "--diameter-mm", "0"), "not above 0"),
        (("1", "mm", "--diameter-mm", "x"), "--diameter-mm: 'x'"),
        (("1", "mm", "--diameter-mm", "500", "--diameter-in", "20"), "given twice"),
        (("1",), "required: UNIT"),
    ],
)
def test_bad_arguments_exit_2_with_one_line(toe, words, told):
    code, out, err = toe(*words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1
