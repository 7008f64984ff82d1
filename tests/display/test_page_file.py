"""The page as a file: whole in itself, safe with any data, fit to read."""

import re
from importlib import resources
from typing import get_args

import pytest

from ingest.core.channels import CHANNELS
from ingest.payload.base import Decision, Quality, Unit
from ingest.payload.head import HeadStatus
from ingest.payload.runout import RunoutState
from ingest.payload.svc import Alert

PAGE = resources.files("ingest.display").joinpath("page.html").read_text("utf-8")
STYLE = "\n".join(re.findall(r"<style>(.*?)</style>", PAGE, re.DOTALL))
NAMESPACE = "http://www.w3.org/2000/svg"


def test_names_no_other_server():
    rest = PAGE.replace(NAMESPACE, "")
    assert not re.search(r"\bhttps?:|\bwss?:|//[a-z0-9-]+\.|@import|<link(?! rel=\"icon\")", rest)
    assert re.findall(r"\b(?:src|href)=\"([^\"]*)\"", PAGE) == ["data:,"]
    assert re.findall(r"new EventSource\((.*?)\)", PAGE) == ['"events"']
    assert not re.search(r"\bfetch\(|XMLHttpRequest|WebSocket|\bimport\b", rest)


def test_data_enter_as_text_alone():
    assert not re.search(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function"
        r"|DOMParser|srcdoc|createContextualFragment|setHTML",
        PAGE,
    )
    assert not re.search(r"\son[a-z]+=", PAGE)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("q", get_args(Quality)),
        ("dec", get_args(Decision)),
        ("head", get_args(HeadStatus.model_fields["state"].annotation)),
        ("runout", get_args(RunoutState)),
        ("level", get_args(Alert.model_fields["level"].annotation)),
    ],
)
def test_knows_exactly_the_words_of_the_payloads(key: str, words: tuple[str, ...]):
    listed = re.search(rf"^  {key}: \[(.*?)\]", PAGE, re.MULTILINE)
    assert listed
    assert set(re.findall(r'"(.*?)"', listed[1])) == set(words)


def test_knows_every_unit_and_channel():
    units = re.search(r"const UNITS = \{(.*?)\};", PAGE)
    assert units
    keys = {a or b for a, b in re.findall(r'(?:"([^"]+)"|(\w+)): "', units[1])}
    assert keys == set(get_args(Unit))
    order = re.search(r"const CHANNEL_ORDER = \[(.*?)\]", PAGE)
    assert order
    assert set(re.findall(r'"(.*?)"', order[1])) == {channel.value for channel in CHANNELS}


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


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
def test_numbers_and_words_hold_seven_to_one_and_shapes_three_to_one(theme: int):
    blocks = re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)
    assert len(blocks) == 2
    colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})(?![0-9a-f])", blocks[theme]))
    for name in ("ink", "quiet"):
        assert contrast(colours[name], colours["ground"]) >= 7.0  # WCAG 1.4.6
    for name in ("inside", "outside", "undecided", "edge"):
        assert contrast(colours[name], colours["ground"]) >= 3.0  # WCAG 1.4.11


@pytest.mark.parametrize("colour", sorted(set(re.findall(r"#[0-9a-f]{6}", STYLE))))
def test_no_colour_is_red_or_green(colour: str):
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    assert not (red > 110 and red > 2.6 * max(green, blue))
    assert not (green > 90 and green > 1.3 * max(red, blue))
