"""What is said to a technician. Cautions are common practice; the words are ours."""

import pytest

from ingest.job.course.acts import Back, Begin, Check, Close, Finish, Turn
from ingest.job.course.cautions import BENT, LIFTING, MAKER, TORQUE, cautions
from ingest.job.course.guidance import guide
from ingest.job.course.tasks import Doing
from tests.job.course.playing import COMPENSATED, HEADING_4, Played, begun, reading

ONE_TURNED = {(4, "right"): COMPENSATED[4, "right"]}


def to(played: Played, task: str) -> Played:
    while played.job.current is not None and played.job.current.id != task:
        if played.job.current.doing is Doing.ADJUST:
            played.act(Turn(played.job.current.id))
        played.act(Finish(played.job.current.id))
    return played


def test_the_intake_names_what_is_still_to_look_at() -> None:
    played = begun(skip=["kingpins", "tyres"])
    told = guide(played.job, played.facts())
    assert "tyres" in told.title
    assert told.lacks == ("tyres and rims", "kingpin play")
    assert told.item == "tyres"
    assert not told.ready
    played.act(Check("kingpins", "fault", "left, 1 mm"))
    worn = guide(played.job, played.facts())
    assert "repair" in worn.text
    assert worn.item == "kingpins"


@pytest.mark.parametrize(
    ("task", "facts", "lacks"),
    [
        ("s1-1", {"wheels": frozenset({(4, "left")})}, ("head on axle 4 right",)),
        (
            "s1-2",
            {"compensated": {(4, "right"): COMPENSATED[4, "right"]}},
            ("run-out of axle 4 left",),
        ),
        ("s1-5", {"readings": {}}, (HEADING_4,)),
        ("s1-4", {"readings": {}}, ()),
    ],
)
def test_guidance_says_what_is_lacking(
    task: str, facts: dict[str, object], lacks: tuple[str, ...]
) -> None:
    played = to(begun(), task)
    told = guide(played.job, played.facts(**facts))
    assert told.task == task
    assert told.lacks == lacks
    assert told.ready is (lacks == ())


def test_an_adjustment_says_what_to_turn() -> None:
    played = to(begun(), "s1-6")
    told = guide(played.job, played.facts())
    assert told.asks[0] == "job-adjust"
    assert "Inside its limit: leave it" in told.text
    assert "1.5 turns longer" in told.text
    played.act(Turn("s1-6"))
    assert guide(played.job, played.facts()).asks == ("job-done",)


def test_what_holds_no_longer_is_asked_for_before_the_end() -> None:
    played = to(begun(), "")
    assert guide(played.job, played.facts()).asks[0] == "job-close"
    played.act(Close())
    assert guide(played.job, played.facts()).title == "job closed"


def test_an_outside_figure_is_not_called_inside() -> None:
    played = to(begun(), "s1-5")
    outside = {HEADING_4: reading(HEADING_4, played.now, "outside")}
    played.act(Finish("s1-5"), readings=outside)
    assert "Inside" not in guide(played.job, played.facts()).text


def test_lifting_and_tightening_carry_their_cautions_and_the_makers_word_last() -> None:
    assert LIFTING in cautions(Doing.TURN)
    assert TORQUE in cautions(Doing.TIGHTEN)
    for doing in Doing:
        told = cautions(doing)
        assert not told or told[-1] == MAKER


def test_nobody_is_told_to_bend_or_heat() -> None:
    every = " ".join(text for doing in Doing for text in cautions(doing))
    assert BENT in every


def test_a_way_back_is_offered() -> None:
    played = to(begun(), "s1-4")
    played.act(Back("s1-2"))
    assert guide(played.job, played.facts()).task == "s1-2"
    played = begun(skip=["kingpins"])
    played.act(Check("kingpins", "ok"))
    assert guide(played.job, played.facts()).asks[0] == "job-begin"
    played.act(Begin())
    assert guide(played.job, played.facts()).task == "s1-1"
