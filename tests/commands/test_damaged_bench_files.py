"""Damaged files for ``levelhead calibrate``: one line, exit 2 or 3, and nothing written."""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.cli import main

FILES = Path(__file__).parents[2] / "calibration" / "FILES.md"
BLOCK = re.compile(r"^```file (\S+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
EXAMPLES = dict(BLOCK.findall(FILES.read_text(encoding="utf-8")))
KINDS = {
    "sphere": ["tilt"],
    "steps": ["tilt", "--sine-bar-mm", "200"],
    "reversal": ["tilt"],
    "oven": ["tilt"],
    "turn": ["encoder"],
    "closure": ["encoder"],
    "bar": ["bar", "--length-mm", "2000"],
    "still": ["still"],
}
JUNK = ("", "x", "nan", "inf", "-inf", "1e999", "1_0", "0x10", "9" * 400, "1,5", "é", "--", "\x00")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("damaged")
    (folder / "sheet.toml").write_text(EXAMPLES["sheet.toml"])
    return folder


def calibrate(folder: Path, kind: str, content: bytes, capsys) -> tuple[int, str]:
    """Run on a file; whatever happens, no traceback, and a failure leaves nothing behind."""
    file = folder / f"{kind}.csv"
    file.write_bytes(content)
    for draft in folder.glob("*.json"):
        draft.unlink()
    what, *more = KINDS[kind]
    drafts = ["-o", str(folder / "A.json")]
    drafts += ["--output-b", str(folder / "B.json")] if kind == "bar" else []
    sheet = ["--sheet", str(folder / "sheet.toml")]
    try:
        code = main(["calibrate", what, str(file), *more, *sheet, *drafts])
    except SystemExit as left:
        code = int(left.code or 0)
    said = capsys.readouterr()
    assert code in (0, 2, 3)
    if code:
        assert not list(folder.glob("*.json"))
    if code == 2:
        assert said.err.count("\n") == 1
        assert said.err.startswith("levelhead calibrate: ")
        assert len(said.err) < 500
    assert not list(folder.glob(".*.part"))
    return code, said.err


@st.composite
def damaged(draw, text: str) -> bytes:
    """One to three cells, lines, bytes or lengths wrong."""
    content = text.encode()
    for _ in range(draw(st.integers(1, 3))):
        way = draw(st.sampled_from(("cell", "line", "twice", "byte", "cut", "swap")))
        lines = content.split(b"\n")
        at = draw(st.integers(0, len(lines) - 1))
        if way == "cell":
            cells = lines[at].split(b",")
            cells[draw(st.integers(0, len(cells) - 1))] = draw(st.sampled_from(JUNK)).encode()
            lines[at] = b",".join(cells)
        elif way == "line":
            del lines[at]
        elif way == "twice":
            lines.insert(at, lines[at])
        elif way == "swap":
            lines[at], lines[-1] = lines[-1], lines[at]
        content = b"\n".join(lines)
        if way == "byte" and content:
            place = draw(st.integers(0, len(content) - 1))
            content = content[:place] + draw(st.binary(min_size=1, max_size=3)) + content[place:]
        elif way == "cut":
            content = content[: draw(st.integers(0, len(content)))]
    return content


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_no_damage_ends_in_a_traceback_or_half_a_draft(bench, kind, capsys):
    @settings(
        max_examples=200,
        deadline=None,
        derandomize=True,
        suppress_health_check=[HealthCheck.too_slow],
    )
    @given(damaged(EXAMPLES[f"{kind}.csv"]))
    def all_of_them(content):
        calibrate(bench, kind, content, capsys)

    all_of_them()


def test_the_undamaged_files_are_taken(bench, capsys):
    codes = {k: calibrate(bench, k, EXAMPLES[f"{k}.csv"].encode(), capsys)[0] for k in KINDS}
    alone = {"sphere", "turn", "closure", "bar", "still"}
    assert {codes[kind] for kind in alone} == {0}
    assert {codes["reversal"], codes["oven"]} == {3}


def changed(kind: str, old: str, new: str) -> bytes:
    text = EXAMPLES[f"{kind}.csv"]
    assert old in text
    return text.replace(old, new, 1).encode()


@pytest.mark.parametrize(
    ("kind", "old", "new", "named"),
    [
        ("steps", "height_mm", "height_in", "height_mm"),
        ("sphere", "incl_y_deg", "incl_y_rad", "incl_y_deg"),
        ("sphere", "temperature_degc", "temperature_degf", "temperature_degc"),
        ("turn", "true_deg", "true_arcmin", "true_deg"),
        ("steps", "\n2,x", "\n3,x", "row 3"),
        ("steps", "\n2,x", "\n1,x", "row 1"),
        ("steps", ",-1,", ",-2,", "row 3: sign"),
        ("reversal", "as-marked", "marked", "row 1: facing"),
        ("turn", "rotation,", "rotations,", "row 1: channel"),
        ("bar", ",A,", ",C,", "row 1: head"),
        ("closure", "steer,1,2,", "steer,1,9,", "round"),
        ("still", "\n3,1.0,", "\n3,1.2,", "row"),
        ("steps", "17.431", "217.431", "sine bar"),
    ],
)
def test_a_refusal_names_what_is_wrong(bench, capsys, kind, old, new, named):
    code, said = calibrate(bench, kind, changed(kind, old, new), capsys)
    assert code == 2
    assert named in said


def with_column(kind: str, title: str, value: str) -> bytes:
    header, first, *rest = EXAMPLES[f"{kind}.csv"].splitlines()
    lines = [f"{header},{title}", f"{first},{value}", *(f"{line}," for line in rest)]
    return ("\n".join(lines) + "\n").encode()


def test_a_row_of_another_head_is_refused(bench, capsys):
    own = calibrate(bench, "sphere", with_column("sphere", "head", "00a1b2c3d4e5f607"), capsys)
    assert own[0] == 0
    code, said = calibrate(bench, "sphere", with_column("sphere", "head", "f" * 16), capsys)
    assert code == 2
    assert "row 1: is of head ffffffffffffffff" in said


def test_a_row_that_moved_is_refused_and_one_that_was_not_at_rest(bench, capsys):
    for title, value in (("moved", "1"), ("spread_deg", "0.06")):
        code, said = calibrate(bench, "turn", with_column("turn", title, value), capsys)
        assert code == 2
        assert "row 1" in said


def test_marks_and_line_ends_of_other_systems_are_read(bench, capsys):
    content = b"\xef\xbb\xbf" + EXAMPLES["sphere.csv"].replace("\n", "\r\n").encode()
    assert calibrate(bench, "sphere", content, capsys)[0] == 0


def test_a_failed_run_leaves_the_old_draft_as_it_was(bench, capsys):
    calibrate(bench, "sphere", EXAMPLES["sphere.csv"].encode(), capsys)
    draft, file = bench / "A.json", bench / "turn.csv"
    before = draft.read_bytes()
    file.write_text("row,channel\n")
    assert main(["calibrate", "encoder", str(file), "--onto", str(draft)]) == 2
    assert draft.read_bytes() == before


def test_the_sheet_is_held_to_its_keys(bench, capsys):
    file = bench / "sphere.csv"
    file.write_text(EXAMPLES["sphere.csv"])
    for old, new in (("issued", "isued"), ("2026-11-25", '"soon"'), ("[lab]", "[lab")):
        sheet = bench / "bad.toml"
        sheet.write_text(EXAMPLES["sheet.toml"].replace(old, new, 1))
        assert main(["calibrate", "tilt", str(file), "--sheet", str(sheet)]) == 2
        assert capsys.readouterr().err.count("\n") == 1
