"""``levelhead job`` against a service of its own with one head: each request gets its answer.

What a request did is read from what the service says on its broker, not from the reply.
"""

import json

import pytest

from ingest.cli import main
from ingest.commands.job_fields import ASKED, IN_PLACE, SUMMARIES, own_fields
from ingest.payload.cmd import COMMANDS

REFUSED = 3


@pytest.fixture
def bay(serving, head_path):
    """Return the client that hears the bay, and the name of its head."""
    _, ear = serving(head_path)
    topic, _ = ear.wait(lambda t, f: t.endswith("/incl_y"), "a reading")
    return ear, topic.split("/")[1]


@pytest.fixture
def job(bay, capsys):
    """Return what asks by the command: its exit code, what it printed and what it complained of."""
    ear, _ = bay

    def ask(*words):
        code = main(["job", "--bay", "pit", "--port", str(ear.port), *words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return ask


def test_every_request_of_a_display_can_be_made_from_a_terminal():
    assert set(SUMMARIES) == {*ASKED, "show"}
    assert set(ASKED.values()) == set(COMMANDS)
    for action, placed in IN_PLACE.items():
        assert set(placed) <= set(own_fields(action))


def test_a_head_is_put_on_a_wheel_its_turn_led_and_taken_off(bay, job):
    ear, head = bay
    code, _, err = job("turn-begin", head)
    assert (code, "(not-mounted)" in err) == (REFUSED, True)
    assert job("wheel", head, "2", "right")[0] == 0
    status = f"head/{head}/status"
    ear.wait(lambda t, f: t == status and (f["axle"], f["side"]) == (2, "right"), "the wheel")
    assert f"\nhead {head}: axle 2 right" in job("show")[1]
    assert json.loads(job("--json", "show")[1])["heads"][head]["axle"] == 2
    assert job("turn-begin", head)[0] == 0
    assert "(already-turning)" in job("turn-begin", head)[2]
    # It may yet be coming to rest: the answer is about the turn that was begun, either way.
    code, out, err = job("stop-take", head)
    assert "stop 1 taken" in out if code == 0 else "(head-moving)" in err
    # Nobody turned the wheel: what was collected is refused as a turn, and the turn is over.
    code, _, err = job("turn-end", head)
    assert (code, "(not-turning)" in err) == (REFUSED, False)
    assert "(not-turning)" in job("turn-end", head)[2]
    ear.heard.clear()
    assert job("unmount", head)[0] == 0
    ear.wait(lambda t, f: t == status and f["axle"] is None, "no wheel")
    assert f"\nhead {head}: on no wheel" in job("show")[1]


def test_a_push_and_a_sweep_are_begun_and_ended(bay, job):
    _, head = bay
    assert "(not-turning)" in job("push-end")[2]
    assert "(not-mounted)" in job("push-begin")[2]
    assert job("wheel", head, "1", "left")[0] == 0
    assert job("push-begin")[0] == 0
    assert "(already-turning)" in job("push-begin")[2]
    job("push-end")
    assert "(not-turning)" in job("push-end")[2]
    # No sweep before a turn: the service names what is missing.
    code, _, err = job("sweep-begin", "1", "--stops")
    assert (code, f"the run-out of {head} is not known" in err) == (REFUSED, True)
    assert "(not-sweeping)" in job("sweep-end", "1")[2]


def test_a_head_gets_another_name(bay, job):
    ear, head = bay
    assert job("name", head, "rowan")[0] == 0
    ear.wait(lambda t, f: t == "head/rowan/status" and f.get("state"), "the new name")
    assert "shows itself" in job("identify", "rowan")[1]
    assert "(unknown-head)" in job("unmount", "elm")[2]
