"""What a terminal shows of a job, and how an item of the intake may be called there."""

import argparse
import json

import pytest

from ingest.commands.job_fields import add_actions, fields_of
from ingest.commands.job_view import JobView
from ingest.core.errors import InputError
from ingest.job.course.intake import ITEMS
from ingest.payload.topics import Topics

ADVICE = (
    "Turn the right eccentric by 20 degrees clockwise, seen from outside the vehicle: its end of "
    "the axle goes forward by 3.42 mm.",
    "Then look at the figure again.",
)
LEAD = "Inside its limit: leave it, or bring it closer."


def shown(guidance, advice="", width=None):
    """Return what is shown of a job that is guided so."""
    view = JobView(Topics("bay1"))
    for leaf, fields in (("guidance", guidance), ("advice", {"text": advice})):
        view.hear(f"levelhead/v1/bay1/job/{leaf}", json.dumps(fields).encode(), True)
    return view.as_text(width)


def asked(*words):
    """Return the fields that these words ask with."""
    parser = argparse.ArgumentParser()
    add_actions(parser)
    return fields_of(parser.parse_args(words))


def test_items_that_nobody_looked_at_are_shown_with_the_ids_to_check_them_by():
    guidance = {"title": "look at: tyres and rims", "text": "How.", "item": "tyres"}
    text = shown({**guidance, "lacks": "tyres and rims; kingpin play; \u2026"})
    assert "look at: tyres and rims (tyres)" in text
    assert "still lacking: tyres and rims (tyres); kingpin play (kingpins); \u2026" in text


def test_what_the_bay_waits_for_in_a_task_has_no_ids():
    assert "lacking: head on axle 4 right\n" in shown({"lacks": "head on axle 4 right"})


@pytest.mark.parametrize("item", ITEMS, ids=lambda item: item.id)
def test_an_item_is_checked_by_its_id_and_by_its_title(item):
    for name in (item.id, item.title, f" {item.title.upper()}"):
        assert asked("check", name, "ok") == {"item": item.id, "state": "ok"}


def test_an_item_that_there_is_not_is_answered_with_those_there_are():
    with pytest.raises(InputError) as refused:
        asked("check", "left kingpin", "ok")
    for item in ITEMS:
        assert f"{item.id} ({item.title})" in str(refused.value)


@pytest.mark.parametrize("lead", ["", LEAD])
def test_advice_that_was_cut_in_the_guidance_is_shown_whole_and_once(lead):
    cut = f"{lead} {ADVICE[0]}".strip()[:70] + "\u2026"
    text = shown({"title": "adjust", "text": cut}, "\n".join(ADVICE))
    assert "\u2026" not in text
    assert [text.count(each) for each in ADVICE] == [1, 1]
    assert lead in text


def test_guidance_is_wrapped_to_the_terminal_and_loses_nothing():
    guidance = {"title": "adjust", "text": " ".join(ADVICE)}
    whole, narrow = shown(guidance), shown(guidance, width=50)
    assert max(map(len, whole.splitlines())) > 50 >= max(map(len, narrow.splitlines()[2:]))
    assert narrow.split() == whole.split()
