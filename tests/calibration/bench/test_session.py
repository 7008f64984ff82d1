"""The bench as one state machine: events in, state and effects out."""

import math
from dataclasses import replace

import pytest

from calibration.bench.bar_pair import BarPair
from calibration.bench.capture import Refused, Settled
from calibration.bench.full_turn import FullTurn
from calibration.bench.happenings import (
    Begin,
    Cancel,
    Did,
    Do,
    Leave,
    Read,
    Record,
    Recorded,
    Save,
    Typed,
    Unread,
)
from calibration.bench.recording import Recorder, still_recording, temperature_drift_degc, warm_up
from calibration.bench.session import Phase, begun
from calibration.bench.steps import Act, Series, Step
from calibration.bench.stillness import UNKNOWN, Rest, Stillness
from calibration.bench.tumble import ATTITUDES, Tumble
from calibration.bench.turned_about import Reversal

STILL = Stillness(Rest.STILL, "incl_x", 0.0, 1.0)
MOVED = Stillness(Rest.MOVING, "incl_y", math.radians(0.3), math.radians(0.05))
STEPS = (
    Step("references", Act("References", ("Checked.",), "no result without them")),
    Step("still", still_recording(1.0)),
    Step("sphere", Series(Tumble())),
    Step("reversal", Series(Reversal())),
    Step("adjust", Act("Adjustment", ("Type the serial.",), "changes it", "KL-0042", True)),
)
ENTER = Typed("")


def reading(up, wobble=0.0):
    raw = [math.asin(max(-1, min(1, 0.99 * u + 0.004 + wobble))) for u in up]
    mean = dict(zip(("incl_x", "incl_y", "incl_z"), raw, strict=True))
    return Read({"A": Settled(mean, dict.fromkeys(mean, 1e-5), 50)}, {"time": "2026-11-25T10:00Z"})


def sent(session, *events):
    effects = []
    for event in events:
        session, more = session.on(event)
        effects += more
    return session, effects


def take(session, n=1):
    files = []
    for i in range(n):
        session, effects = sent(session, ENTER)
        (begin,) = effects
        assert isinstance(begin, Begin)
        c = begin.target.columns
        slope = 0.01 if c.get("facing") == "as-marked" else -0.01
        up = ATTITUDES[c["attitude"]] if "attitude" in c else (slope, slope, 1.0)
        session, effects = sent(session, reading(up, 1e-6 * ((i * 7) % 5)))
        files += effects
    return session, files


def at_sphere():
    rows = {"still.csv": tuple({"row": str(i + 1)} for i in range(10))}
    return begun(STEPS, rows, frozenset({"references"}))


def test_work_begins_with_the_references_and_goes_on_by_itself_when_they_hold():
    session = begun(STEPS, {})
    session, effects = sent(session, ENTER)
    assert effects == [Do(STEPS[0])]
    session, _ = sent(session, Did("All in date."))
    assert session.step.name == "still"
    assert session.said == "All in date."


def test_a_reference_that_does_not_hold_ends_the_work_with_its_reason():
    session, _ = sent(begun(STEPS, {}), ENTER)
    session, effects = sent(session, Did("bar KL-BAR-1 was due", well=False, stop=True))
    assert session.phase is Phase.OVER
    assert session.stopped == "bar KL-BAR-1 was due"
    assert effects == [Leave()]


def test_the_references_cannot_be_left_out():
    session, effects = sent(begun(STEPS, {}), Typed("go"))
    assert session.step.name == "references"
    assert "cannot be left out" in session.said
    assert effects == []


def test_a_reading_becomes_a_row_that_is_to_be_saved_whole():
    session, effects = take(at_sphere(), 2)
    assert [type(e) for e in effects] == [Save, Save]
    assert effects[-1].path == "sphere.csv"
    assert [row["row"] for row in effects[-1].rows] == ["1", "2"]
    assert effects[-1].rows[0]["attitude"] == "up"
    assert effects[-1].rows[0]["time"] == "2026-11-25T10:00Z"
    assert session.progress.taken == 2


def test_a_head_that_moved_leaves_no_row_and_is_told_with_figure_and_limit():
    session, _ = sent(at_sphere(), ENTER)
    session, effects = sent(session, Unread("A", Refused(MOVED)))
    assert effects == []
    assert session.phase is Phase.PLACE
    assert session.progress.taken == 0
    assert "incl_y by 0.3000°, limit 0.0500°" in session.said


def test_a_reading_that_nobody_asked_for_changes_nothing():
    session = at_sphere()
    assert sent(session, reading((0, 0, 1))) == (session, [])


def test_cancelling_takes_nothing():
    session, _ = sent(at_sphere(), ENTER)
    session, effects = sent(session, Typed("x"))
    assert effects == [Cancel()]
    assert (session.phase, session.progress.taken) == (Phase.PLACE, 0)


def test_the_last_row_is_taken_back_by_a_mark_and_numbers_go_on():
    session, _ = take(at_sphere(), 3)
    session, effects = sent(session, Typed("u"))
    (save,) = effects
    assert [row.get("withdrawn") for row in save.rows] == [None, None, "1"]
    assert session.progress.taken == 2
    session, effects = take(session)
    assert [row["row"] for row in effects[-1].rows] == ["1", "2", "3", "4"]
    assert effects[-1].rows[2]["attitude"] == effects[-1].rows[3]["attitude"]


def test_taking_back_twice_withdraws_the_row_before():
    session, _ = take(at_sphere(), 3)
    session, effects = sent(session, Typed("u"), Typed("u"))
    assert [row.get("withdrawn") for row in effects[-1].rows] == [None, "1", "1"]


def test_there_is_nothing_to_take_back_at_first():
    session, effects = sent(at_sphere(), Typed("u"))
    assert effects == []
    assert "no row to take back" in session.said


def test_the_technician_may_choose_another_attitude():
    session = at_sphere()
    first = session.target
    session, _ = sent(session, Typed("o"))
    assert session.target != first
    _, effects = sent(session, ENTER)
    assert effects[0].target == session.target


def test_a_series_that_is_not_usable_cannot_be_left():
    session, _ = take(at_sphere(), 4)
    session, _ = sent(session, Typed("go"))
    assert session.step.name == "sphere"
    assert "4 of at least 9" in session.said


def test_a_series_goes_on_to_the_next_step_when_it_is_enough():
    session, _ = take(at_sphere(), 10)
    assert session.step.name == "reversal"
    assert "enough" in session.said


def test_an_adjustment_is_made_only_when_it_is_confirmed_by_name():
    done = frozenset({"references"})
    session = replace(begun(STEPS, at_sphere().rows, done), at=4)
    for typed in ("", "yes", "kl-0042"):
        session, effects = sent(session, Typed(typed))
        assert effects == []
        assert session.phase is Phase.PLACE
    session, effects = sent(session, Typed("KL-0042"))
    assert effects == [Do(STEPS[4])]


def test_an_adjustment_may_be_left_out():
    session = replace(at_sphere(), at=4)
    session, _ = sent(session, Typed("go"))
    assert session.phase is Phase.OVER


def test_an_act_that_did_not_work_can_be_done_again():
    session, _ = sent(begun(STEPS, {}), ENTER, Did("no key", well=False))
    assert (session.step.name, session.said) == ("references", "no key")
    assert sent(session, ENTER)[1] == [Do(STEPS[0])]


@pytest.mark.parametrize("n", [1, 5, 9])
def test_broken_off_at_any_row_it_goes_on_as_if_it_had_not_been(n):
    whole, _ = take(at_sphere(), 9)
    part, _ = take(at_sphere(), n)
    again = begun(STEPS, dict(part.rows), part.done)
    assert (again.at, again.target) == (part.at, part.target)
    for i in range(n, 9):
        again, effects = sent(again, ENTER)
        up = ATTITUDES[effects[0].target.columns["attitude"]]
        again, _ = sent(again, reading(up, 1e-6 * ((i * 7) % 5)))
    assert again.rows == whole.rows
    assert again.step == whole.step


def test_leaving_says_so_and_reads_no_further():
    session, _ = sent(at_sphere(), ENTER)
    assert not session.left
    session, effects = sent(session, Typed("quit"))
    assert session.left
    assert effects == [Cancel(), Leave()]
    assert session.phase is Phase.OVER


def test_a_word_that_means_nothing_takes_no_reading():
    session, effects = sent(at_sphere(), Typed("hello"))
    assert effects == []
    assert "'hello' means nothing here" in session.said


def recorded(seconds, move_at=math.inf, hz=50, recording=None, gap_at=math.inf):
    recorder = Recorder(recording or still_recording(1.0))
    for i in range(round(seconds * hz)):
        t = i / hz + (5.0 if i / hz >= gap_at else 0.0)
        seen = MOVED if i / hz >= move_at else UNKNOWN
        recorder.feed(t, {"incl_x": 0.1, "rotation": math.pi, "temperature": 20 + t / 600}, seen)
    return recorder


def test_a_recording_has_evenly_spaced_rows_without_gaps():
    recorder = recorded(1.3)
    assert recorder.finished
    assert [row["time_s"] for row in recorder.rows] == [f"{i / 10:.3f}" for i in range(10)]
    assert recorder.rows[3]["incl_x_deg"] == f"{math.degrees(0.1):.6f}"
    assert recorder.rows[3]["rotation_deg"] == "180.000000"


def test_a_channel_that_sees_nothing_leaves_no_column():
    recorder = Recorder(still_recording(1.0))
    for i in range(60):
        recorder.feed(i / 50, {"incl_x": 0.1, "azimuth_cross": math.nan}, UNKNOWN)
    assert recorder.finished
    assert "azimuth_cross_deg" not in recorder.rows[0]


def test_a_recording_of_a_head_that_moved_is_of_no_use():
    recorder = recorded(1.3, move_at=0.5)
    assert not recorder.finished
    assert "moved by 0.300° in incl_y" in recorder.broken


def test_a_recording_with_a_gap_is_of_no_use():
    assert "no samples for 5.0 s" in recorded(1.3, gap_at=0.5).broken


def test_a_warm_up_lasts_until_the_temperature_rests():
    recording = warm_up(60.0, 600.0)
    assert recorded(200.0, hz=2, recording=recording).finished
    rising = [{"temperature_degc": f"{20 + 0.1 * i}"} for i in range(12)]
    assert temperature_drift_degc(rising) == pytest.approx(0.3)
    assert not recording.finished(rising)
    assert recording.finished(rising * 5)


def test_a_whole_recording_is_saved_and_a_broken_one_is_not():
    session = begun(STEPS, {}, frozenset({"references"}))
    session, effects = sent(session, ENTER)
    assert effects == [Record(STEPS[1])]
    broken, effects = sent(session, Recorded((), "the head moved"))
    assert effects == []
    assert broken.step.name == "still"
    rows = recorded(1.3).rows
    session, effects = sent(session, Recorded(rows))
    assert effects == [Save("still.csv", rows)]
    assert session.step.name == "sphere"


def test_going_back_shows_the_step_before():
    session, _ = sent(at_sphere(), Typed("back"))
    assert session.step.name == "still"


def test_on_the_bar_both_rows_of_an_attitude_are_taken_back():
    session = begun((Step("bar", Series(BarPair(2.0))),), {})
    mean = {"incl_x": 0.0, "incl_y": 0.0, "azimuth_cross": 0.0}
    both = dict.fromkeys("AB", Settled(mean, dict.fromkeys(mean, 1e-5), 10))
    for _ in range(2):
        session, _ = sent(session, ENTER, Read(both))
    session, effects = sent(session, Typed("u"))
    assert [row.get("withdrawn") for row in effects[-1].rows] == [None, None, "1", "1"]
    assert "row 3 and 4" in session.said


def test_a_row_of_another_channel_in_the_same_file_is_not_taken_back():
    steps = tuple(Step(c, Series(FullTurn(c))) for c in ("rotation", "steer"))
    session = begun(steps, {})
    for name, at in (("rotation", 0), ("steer", 1)):
        session = replace(session, at=at)
        angle = {name: 0.0}
        session, _ = sent(session, ENTER, Read({"A": Settled(angle, {name: 1e-5}, 10)}))
    session, effects = sent(replace(session, at=0), Typed("u"))
    rows = effects[-1].rows
    assert [(row["channel"], row.get("withdrawn")) for row in rows] == [
        ("rotation", "1"),
        ("steer", None),
    ]
