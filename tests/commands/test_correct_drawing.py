"""The work sheet of a correction: one drawing for every kind of adjuster, and what it must say."""

import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from ingest.cli import main

SVG = "{http://www.w3.org/2000/svg}"
FILES = Path(__file__).parents[2] / "ingest" / "geometry" / "corrections" / "FILES.md"
FOUND = re.findall(
    r"^```file (\S+)\n(.*?)^```$", FILES.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL
)
EXAMPLES = {
    name: json.loads(text)
    for name, text in FOUND
    if name not in ("short-travel.json", "wrong-unit.json", "camber.json")
}


@pytest.fixture
def sheet(tmp_path, capsys):
    """Draw a document; return the drawing, its words joined, and the steps of the answer."""

    def run(document):
        file, out = tmp_path / "file.json", tmp_path / "out.svg"
        file.write_text(json.dumps(document))
        assert main(["correct", str(file), "--drawing", str(out), "--json"]) == 0
        root = ET.fromstring(out.read_text())
        words = " ".join(element.text for element in root.iter(f"{SVG}text"))
        return root, words, json.loads(capsys.readouterr().out)["steps"]

    return run


def arrows(root):
    """Tips of the arrows and the way they point, +1 to the right."""
    blue = [line for line in root.iter(f"{SVG}line") if line.get("stroke") == "#1b5a94"]
    level = [line for line in blue if line.get("y1") == line.get("y2")]
    return [1 if float(line.get("x2")) > float(line.get("x1")) else -1 for line in level]


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_sheet_has_every_step_and_the_cautions_first(sheet, name):
    root, words, steps = sheet(EXAMPLES[name])
    for n, step in enumerate(steps, 1):
        assert f"{n}. {step['text']}" in words
    assert words.index("chock the wheels") < words.index("1. ")
    assert "The vehicle maker's instructions and local codes come first" in words
    assert "To be expected, axle" in words
    _, _, width, height = map(float, root.get("viewBox").split())
    for element in root.iter(f"{SVG}text"):
        assert 0.0 <= float(element.get("x")) <= width
        assert 0.0 <= float(element.get("y")) <= height


def test_a_rod_that_grows_has_arrows_outward_and_one_that_shrinks_inward(sheet):
    grows = EXAMPLES["toe.json"]
    assert arrows(sheet(grows)[0]) == [-1, 1]
    assert arrows(sheet(grows | {"target_deg": -0.4})[0]) == [1, -1]
    # Within the measurement's doubt, and less than one step: nothing is drawn as turned.
    root, words, _ = sheet(grows | {"target_deg": -0.119})
    assert arrows(root) == []
    assert "Leave it:" in words


def test_a_bolt_that_is_screwed_out_goes_towards_its_pad(sheet):
    assert arrows(sheet(EXAMPLES["stop.json"])[0]) == [1]
    assert arrows(sheet(EXAMPLES["stop.json"] | {"measured_deg": 43.0})[0]) == [-1]


def test_packs_are_drawn_to_scale_as_they_are_and_as_they_must_be(sheet):
    root, words, _ = sheet(EXAMPLES["shims.json"])
    slabs = sorted(float(each.get("height")) for each in root.iter(f"{SVG}rect"))
    # By hand: left 3 and 1 mm now, 1 mm then; right 3 mm now and then; 3 points a millimetre.
    assert slabs == pytest.approx([3.0, 3.0, 9.0, 9.0, 9.0])
    assert "now 4 mm" in words
    assert "then 1 mm" in words
    assert arrows(root) == [1]


def test_an_eccentric_stands_towards_the_front_on_the_right(sheet):
    discs = [
        (float(each.get("cx")), float(each.get("cy")))
        for each in sheet(EXAMPLES["eccentrics.json"])[0].iter(f"{SVG}circle")
    ]
    # 20 degrees from upright on a radius of 15 points.
    assert len(discs) == 1
    assert discs[0][0] - (10.0 + 75.0) == pytest.approx(15.0 * 0.342, abs=0.01)


def test_a_pin_says_where_it_goes(sheet):
    words = sheet(EXAMPLES["pins.json"])[1]
    assert "now no shim then shim behind" in words


def test_the_thick_end_of_a_wedge_is_where_the_text_says(sheet):
    root, _, steps = sheet(EXAMPLES["caster.json"])
    assert all("thick end to the rear" in step["text"] for step in steps)
    for outline in root.iter(f"{SVG}polyline"):
        spots = [tuple(map(float, spot.split(","))) for spot in outline.get("points").split()]
        foot = max(y for _, y in spots)
        ends = {x: foot - min(y for at, y in spots if at == x) for x, _ in spots}
        front, rear = (ends[x] for x in sorted(ends))
        assert rear > front


def test_where_nothing_may_be_turned_nothing_is_drawn(tmp_path, capsys):
    file, out = tmp_path / "camber.json", tmp_path / "out.svg"
    file.write_text(dict(FOUND)["camber.json"])
    assert main(["correct", str(file), "--drawing", str(out)]) == 2
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n"), out.exists()) == ("", 1, False)
    assert "nothing may be turned" in said.err
