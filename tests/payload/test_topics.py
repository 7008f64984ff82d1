"""The topic tree of a bay."""

import pytest

from ingest.core.channels import Channel
from ingest.payload.topics import Topics

BAY = Topics("bay1")


@pytest.mark.parametrize(
    ("topic", "expected"),
    [
        (BAY.status, "levelhead/v1/bay1/svc/status"),
        (BAY.alert("link-1"), "levelhead/v1/bay1/svc/alert/link-1"),
        (BAY.reading("h", Channel.INCL_Y), "levelhead/v1/bay1/head/h/incl_y"),
        (BAY.axle(2, "both", "total-toe"), "levelhead/v1/bay1/axle/2/both/total-toe"),
        (BAY.cal("h"), "levelhead/v1/bay1/cal/h/latest"),
    ],
)
def test_topics_are_as_documented(topic, expected):
    assert topic == expected
    assert len(topic.split("/")) <= 8


@pytest.mark.parametrize("level", ["", "A", "a b", "a/b", "+", "#", "$x", "ä", "x" * 33, "a\n"])
def test_what_is_no_level_is_refused(level):
    with pytest.raises(ValueError, match="level"):
        Topics(level)
    with pytest.raises(ValueError, match="level"):
        BAY.head_status(level)


@pytest.mark.parametrize(
    ("topic", "name"),
    [
        ("levelhead/v1/bay1/cmd/wheel", ("wheel", None)),
        ("levelhead/v1/bay1/cmd/wheel/ines", ("wheel", "ines")),
        ("levelhead/v1/bay2/cmd/wheel", None),
        ("levelhead/v1/bay1/cmd/wheel/", None),
        ("levelhead/v1/bay1/cmd/wheel/I", None),
        ("levelhead/v1/bay1/cmd/wheel/ines/x", None),
        ("levelhead/v1/bay1/head/h/status", None),
    ],
)
def test_a_command_and_who_asks_are_known_by_the_topic(topic, name):
    assert BAY.asked(topic) == name


def test_answers_go_under_reply_and_nowhere_else():
    assert BAY.is_reply(BAY.reply("me"))
    for elsewhere in ("levelhead/v1/bay1/cmd/wheel", "reply/me", "levelhead/v1/bay1/reply/a/b"):
        assert not BAY.is_reply(elsewhere)
