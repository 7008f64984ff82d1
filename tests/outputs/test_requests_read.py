"""Where the answer to a request goes, and who is taken to have asked."""

import pytest

from ingest.outputs.requests import Refusal, read_request
from ingest.payload.cmd import Request
from ingest.payload.topics import Topics

BAY = Topics("bay1")
OTHER, OWN = BAY.reply("other"), BAY.reply("ines")


@pytest.mark.parametrize("response_topic", [None, OTHER, "levelhead/v1/bay1/cmd/wheel"])
@pytest.mark.parametrize("payload", [f'{{"id":"c-1","head":"alder","reply_to":"{OTHER}"}}', "{"])
def test_a_user_in_the_topic_is_answered_under_that_name_alone(response_topic, payload):
    found = read_request(BAY, ("identify", "ines"), payload.encode(), response_topic, None)
    assert found.reply_topic == OWN
    assert isinstance(found, Refusal) or found.user == "ines"


def test_without_one_the_answer_goes_where_it_is_asked_for_and_nobody_is_known():
    payload = f'{{"id":"c-1","head":"alder","reply_to":"{OTHER}"}}'.encode()
    found = read_request(BAY, ("identify", None), payload, None, None)
    assert isinstance(found, Request)
    assert (found.reply_topic, found.user) == (OTHER, None)
    assert read_request(BAY, ("identify", None), payload, OWN, None).reply_topic == OWN
