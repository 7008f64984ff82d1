"""The page's files: whole in themselves, true to the payloads, fit to read."""

import json
import re
from importlib import resources
from pathlib import Path
from typing import get_args

import pytest

from ingest.core.channels import CHANNELS
from ingest.job.course.acts import Refused
from ingest.payload.base import Decision, Quality, Unit
from ingest.payload.cmd import COMMANDS
from ingest.payload.head import HeadStatus, LinkKind
from ingest.payload.job import JobState
from ingest.payload.runout import RunoutState
from ingest.payload.svc import Alert, ServiceStatus

ROOT = Path(str(resources.files("ingest.display").joinpath("page")))
FILES = [path for path in ROOT.rglob("*.*") if "fetched" not in path.parts]
TEXT = {str(path.relative_to(ROOT)): path.read_text("utf-8") for path in FILES}
STYLE = TEXT["style/base.css"]
ENGLISH = json.loads(TEXT["words/en.json"])
NAMESPACE = "http://www.w3.org/2000/svg"


@pytest.mark.parametrize("name", sorted(TEXT))
def test_names_no_other_server(name: str):
    rest = TEXT[name].replace(NAMESPACE, "").replace("${location.host}", "")
    assert not re.search(r"\bhttps?:/|\bwss?:/|[\"'(]//[a-z0-9-]+\.|@import", rest)


def test_every_part_of_the_page_is_there():
    asked = re.findall(r'(?:src|href)="/([^"]+)"', TEXT["index.html"])
    assert len(asked) == 5
    for name in asked:
        assert name in TEXT or name.startswith("fetched/")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("QUALITY", get_args(Quality)),
        ("DECISION", get_args(Decision)),
        ("HEAD_STATE", get_args(HeadStatus.model_fields["state"].annotation)),
        ("SERVICE_STATE", get_args(ServiceStatus.model_fields["state"].annotation)),
        ("RUNOUT_STATE", get_args(RunoutState)),
        ("ALERT_LEVEL", get_args(Alert.model_fields["level"].annotation)),
        ("PHASE", get_args(JobState.model_fields["phase"].annotation)),
        ("UNITS", get_args(Unit)),
    ],
)
def test_knows_exactly_the_words_of_the_payloads(name: str, words: tuple[str, ...]):
    listed = re.search(rf"^export const {name} = \[(.*)\];", TEXT["core/words.js"], re.MULTILINE)
    assert listed
    assert set(re.findall(r'"(.*?)"', listed[1])) == set(words)


def test_has_words_for_every_channel_link_and_request():
    for channel in CHANNELS:
        assert f"channel.{channel.value}" in ENGLISH
    for kind in get_args(LinkKind):
        assert f"link.{kind}" in ENGLISH
    asked = {key.removeprefix("ask.") for key in ENGLISH if key.startswith("ask.")}
    assert asked <= set(COMMANDS)
    assert {name for name in COMMANDS if name.startswith("job-")} - asked == {"job-remark"}


def test_requests_that_the_job_offers_are_known_to_the_page():
    source = (Path(Refused.__module__.replace(".", "/")).parent / "guidance.py").read_text("utf-8")
    offered = set(re.findall(r'"((?:job|sweep)-[a-z]+)"', source))
    listed = re.search(r"const OFFERED = \[(.*?)\]", TEXT["core/guide.js"], re.DOTALL)
    assert listed
    assert offered
    assert offered == set(re.findall(r'"(.*?)"', listed[1]))


def luminance(colour: str) -> float:
    """Return the relative luminance of WCAG 2.2 (definition of the term)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_contrast_formula_gives_the_known_ends():
    # WCAG 2.2: black on white is 21:1, a colour on itself 1:1.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#c25400", "#c25400") == 1.0


@pytest.mark.parametrize("theme", [0, 1, 2], ids=["light", "dark by device", "dark by choice"])
def test_numbers_and_words_hold_seven_to_one_and_shapes_three_to_one(theme: int):
    blocks = re.findall(r":root[^{]*\{(.*?)\}", STYLE, re.DOTALL)
    assert len(blocks) == 3
    colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})(?![0-9a-f])", blocks[theme]))
    for name in ("ink", "quiet"):
        for ground in ("ground", "press"):
            assert contrast(colours[name], colours[ground]) >= 7.0  # WCAG 1.4.6
    for name in ("inside", "outside", "undecided", "edge"):
        assert contrast(colours[name], colours["ground"]) >= 3.0  # WCAG 1.4.11


@pytest.mark.parametrize("colour", sorted(set(re.findall(r"#[0-9a-f]{6}", STYLE))))
def test_no_colour_is_red_or_green(colour: str):
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    assert not (red > 110 and red > 2.6 * max(green, blue))
    assert not (green > 90 and green > 1.3 * max(red, blue))
