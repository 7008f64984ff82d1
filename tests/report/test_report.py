"""What a report says, and that it says no more than the job found. The job is invented."""

import math
import re
from dataclasses import replace
from datetime import date

import pytest
from lxml import html

from calibration.document.html import render_html
from calibration.document.pdf import render_pdf
from ingest.job.course.acts import Check, Close, Skip, Upset
from ingest.job.course.events import Checked, Event
from ingest.job.course.job import Job, Mark
from ingest.job.course.making import opened, replayed
from ingest.job.course.readings import LimitAt, Reading
from ingest.job.course.tasks import NEEDLESS
from ingest.payload.job_record import job_record
from ingest.report.charts import axle_lines, intervals
from ingest.report.document import Seal, Workshop, axles_of, report
from ingest.report.figures import bounds, lines, printed
from ingest.report.wording import topic_name
from tests.job.course.playing import Played, stamp
from tests.report.sample import DEG, HEADING, OPENED, VALUES, finished, measured

SEALED = Seal("ab" * 32, ("key 1234 (Ed25519)",), "levelhead")
SHOP = Workshop("Ostler & Vane", "Tollgate 4")


def text_of(job: Job, seal: Seal = SEALED) -> str:
    page = render_html(report("w-204", job, date(2026, 1, 2), SHOP, seal))
    return " ".join(html.fromstring(page).text_content().split())


@pytest.fixture(scope="module")
def job() -> Job:
    return finished().job


def test_every_result_stands_in_it_with_its_uncertainty(job: Job) -> None:
    text = text_of(job)
    for topic in VALUES:
        assert topic_name(topic) in text
        for reading in (job.found[topic], job.left[topic]):
            assert printed(reading).screen() in text


def test_the_outcome_counts_what_the_table_says(job: Job) -> None:
    decided = [r.decision for r in job.left.values() if r.limit is not None]
    found = [r.decision for r in job.found.values() if r.limit is not None]
    assert "outside" in decided  # the camber of a beam
    text = text_of(job)
    assert "Not all inside" in text
    assert f"As found {found.count('inside')} of {len(found)}" in text
    assert f"as left {decided.count('inside')} of {len(decided)}" in text


def test_what_a_customer_and_an_engineer_look_for_is_there(job: Job) -> None:
    text = text_of(job)
    for said in (
        "W-204 / Halloran",
        "412 300 km",
        "general, version 3",
        "nominal 1/16 in, 0 to 1/8 in across 22.5 in",
        "cal-2026-0002",
        "kingpin play",
        "Left torque arm: 1 1/4 turns longer.",
        "5571.8 mm",
        "Tyre on axle 1 left worn",
        "referred to the axle's maker",
        "ines",
        SEALED.sha256,
        "to the maker's torque",
    ):
        assert said in text


def test_an_unfinished_job_proves_nothing_and_says_so() -> None:
    played = finished(close=False)
    assert "Not finished" in text_of(played.job)
    played.act(Close(give_up="owner took it away"))
    assert "This job was given up: owner took it away." in text_of(played.job)


def test_what_holds_no_longer_is_not_printed_as_left() -> None:
    played = finished(close=False)
    played.act(Upset(("axle/1/both/total-toe",), "a head was knocked"))
    text = text_of(played.job)
    assert "no longer holds" in text
    assert printed(played.job.left["axle/1/both/total-toe"]).screen() not in text


def test_what_was_not_measured_again_is_told_with_its_reason() -> None:
    played = finished(close=False)
    played.act(Upset(("axle/1/both/total-toe",), "a head was knocked"))
    assert played.job.current is not None
    played.act(Skip(played.job.current.id, "the head is broken"))
    played.act(Close())
    text = text_of(played.job)
    assert "were not measured again (the head is broken)" in text
    assert "not measured again" in text


def test_what_was_left_as_it_is_stands_with_its_reason_and_what_fell_away_does_not() -> None:
    job = finished().job
    as_it_is = Mark("2026-01-02T09:00:00.000000000Z", "ines", turned=False, note="by the maker")
    marks = {**job.marks, "s1-8": as_it_is, "s1-9": replace(as_it_is, skipped=NEEDLESS, note="")}
    text = text_of(replace(job, marks=marks))
    assert "adjust total toe of axle 1: by the maker" in text
    assert NEEDLESS not in text
    inside = {**job.marks, "s1-8": replace(as_it_is, note="")}
    assert "adjust total toe of axle 1: " not in text_of(replace(job, marks=inside))


def test_a_report_that_nobody_signed_is_a_draft(job: Job) -> None:
    unsigned = report("w-204", job, date(2026, 1, 2), SHOP, Seal("ab" * 32, (), "levelhead"))
    assert unsigned.mark == "DRAFT"
    assert report("w-204", job, date(2026, 1, 2), SHOP, SEALED).mark == ""


def test_practice_is_never_taken_for_a_real_vehicle(job: Job) -> None:
    simulated = replace(job, opened=replace(job.opened, simulated=True))
    assert "for practice" in text_of(simulated)
    assert report("w-204", simulated, date(2026, 1, 2), SHOP, SEALED).mark == "SIMULATED"


def test_names_of_vehicles_are_text_and_never_markup() -> None:
    played = finished(close=False)
    opened = played.job.opened
    named = opened.vehicle.replace('name = "', 'name = "<script>alert(1)</script> ', 1)
    job = replace(played.job, opened=replace(opened, vehicle=named))
    page = render_html(report("w-204", job, date(2026, 1, 2), SHOP, SEALED))
    assert "<script" not in page


def test_the_paper_is_a_pdf_of_a_few_pages(job: Job) -> None:
    made = render_pdf(report("w-204", job, date(2026, 1, 2), SHOP, SEALED))
    assert made.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type\s*/Page\b", made)) <= 5 or b"/ObjStm" in made


def test_rounding_never_moves_a_result_to_the_other_side_of_its_limit() -> None:
    limit = LimitAt(None, None, 0.25 * DEG, "up to 0.25 deg", "invented")
    reading = Reading(
        "axle/1/left/camber", True, 0.2504 * DEG, 0.01 * DEG, 0.02 * DEG, 2.0, "", "good", "",
        (), (), limit, "guard-u", "undecided",
    )  # fmt: skip
    shown = float(printed(reading).text.split("±")[0].strip("( "))
    assert shown > 0.25


@pytest.mark.parametrize(
    ("limit", "angular", "text"),
    [
        (LimitAt(-0.06 * DEG, 0.0, 0.06 * DEG, "", ""), True, "−0.06° to 0.06°"),
        (LimitAt(None, 0.0, 0.25 * DEG, "", ""), True, "at most 0.25°"),
        (LimitAt(0.0, None, None, "", ""), True, "at least 0.00°"),
        (LimitAt(-0.003, 0.0, 0.003, "", ""), False, "−3.0 mm to 3.0 mm"),
        (LimitAt(None, 0.0, None, "", ""), True, "–"),
        (None, True, "–"),
    ],
)
def test_limits_in_print(limit: LimitAt | None, angular: bool, text: str) -> None:
    assert bounds(limit, angular=angular) == text


def test_an_axle_that_points_left_is_drawn_so(job: Job) -> None:
    """The page: front to the right, the vehicle's left upward, so Y runs against the page's."""
    told = [line for line in lines(job) if line.topic == "axle/2/both/heading"]
    drawn = axle_lines(axles_of(job.opened), told)
    dashed = re.search(
        r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)"[^>]*stroke-dasharray="4 3"',
        drawn,
    )
    assert dashed is not None
    x1, y1, x2, y2 = map(float, dashed.groups())
    assert job.found["axle/2/both/heading"].value > 0.0  # to the left
    assert y1 < y2  # the left end is up
    assert x1 < x2  # and lies further back than the right one
    angle = math.atan2(x2 - x1, y2 - y1)
    times = float(re.search(r"angles drawn ([\d.]+) times", drawn)[1])  # type: ignore[index]
    assert angle == pytest.approx(job.found["axle/2/both/heading"].value * times, abs=2e-3)


def test_intervals_stand_where_their_limits_put_them() -> None:
    played = finished()
    told = [line for line in lines(played.job) if line.topic == "axle/3/both/heading"]
    drawn = intervals(told)
    edges = [
        float(x)
        for x in re.findall(
            r'<line x1="([\d.]+)" y1="14" x2="\1"[^>]*stroke-dasharray="5 3"', drawn
        )
    ]
    low, high = sorted(edges)
    disc = float(re.search(r'<circle cx="([\d.]+)"', drawn)[1])  # type: ignore[index]
    reading = measured("axle/3/both/heading", "", left=True)
    assert HEADING.low is not None
    assert HEADING.high is not None
    share = (reading.value - HEADING.low) / (HEADING.high - HEADING.low)
    assert disc == pytest.approx(low + share * (high - low), abs=0.02)


@pytest.mark.parametrize(
    ("topic", "name"),
    [
        ("axle/1/left/lock-angle", "Axle 1 left, turning angle at the stop"),
        ("axle/1/both/toe-out-left", "Axle 1, toe-out on turns to the left"),
        ("axle/1/right/turning-angle-left", "Axle 1 right, steered to the left"),
    ],
)
def test_what_a_sweep_tells_has_a_name_for_people(topic: str, name: str) -> None:
    assert topic_name(topic) == name


def test_a_run_out_that_is_known_well_is_not_told_as_if_it_were_known_exactly(job: Job) -> None:
    well = replace(job.runouts[0], u_deg=0.0004)
    text = text_of(replace(job, runouts=(well, *job.runouts[1:])))
    assert "< 0.001\u00b0" in text
    assert "0.000\u00b0" not in text


def test_a_fault_that_was_repaired_stands_in_it_as_found_and_then() -> None:
    first = Event(1, stamp(0), "ines", OPENED)
    played = Played(opened(first), [first])
    played.act(Check("kingpins", "fault", "left kingpin knocks"))
    later = Event(
        played.job.last + 1,
        "2026-01-05T14:07:00.000000000Z",
        "Orla Finch",
        Checked("kingpins", "ok", "kingpin kit renewed"),
    )
    job = replayed(job_record("w-118", (*played.events, later)).happened())
    assert job.faults == ()
    page = html.fromstring(render_html(report("w-118", job, date(2026, 1, 6), SHOP, SEALED)))
    rows = [[cell.text_content().strip() for cell in row] for row in page.iter("tr")]
    title = "kingpin play"
    found, then = [row for row in rows if row[0] == title]
    assert found == [title, "at fault", "left kingpin knocks", "2026-01-02 08:00", "ines"]
    repaired = [title, "then in order", "kingpin kit renewed", "2026-01-05 14:07", "Orla Finch"]
    assert then == repaired
