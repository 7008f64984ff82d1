"""The bar before and after the adjustment: in which order, and what is asked and written."""

from calibration.bench.bar_check import BarCheck
from calibration.bench.capture import Settled
from calibration.bench.plan import HeadAtHand, Scope, steps_of
from calibration.bench.rows import as_csv
from calibration.bench.screen import Live, screen
from calibration.bench.session import begun
from calibration.files.check_rows import parse_check_rows
from calibration.files.references import Kind
from tests.calibration.bench.test_screen import CHANNELS, REGISTER

MEAN = {"incl_x": 0.1, "incl_y": -0.2, "azimuth_cross": 89.9, "temperature": 20.5}


def names(letters, references=REGISTER.references, scope=None):
    heads = [HeadAtHand(letter, f"KL-{letter}", CHANNELS) for letter in letters]
    return [step.name for step in steps_of(heads, references, scope or Scope(), {})]


def test_the_bar_is_read_before_any_head_is_adjusted_and_after_both_were():
    steps = names("AB")
    found, left = steps.index("bar found"), steps.index("bar left")
    assert steps.index("fit") < found < steps.index("verify-found A")
    for letter in "AB":
        assert found < steps.index(f"adjust {letter}") < left
        assert left < steps.index(f"verify-left {letter}") < steps.index(f"sign {letter}")


def test_it_is_read_only_where_a_verification_takes_it_up():
    alone = [r for r in REGISTER.references if r.kind is Kind.BAR]
    for steps in (names("A"), names("AB", alone)):
        assert not [name for name in steps if name.startswith("bar ")]
    assert "bar found" not in names("AB", scope=Scope(azimuth="azimuth_track"))


def test_its_rows_are_those_that_verify_reads():
    check, rows = BarCheck("bar-found.csv", "Zero of toe"), []
    reading = Settled(MEAN, dict.fromkeys(MEAN, 1e-4), 50)
    while not check.progress(rows).enough:
        (target,) = check.targets(rows)
        rows += check.taken(target, dict.fromkeys("AB", reading))
    numbered = [{"row": str(i)} | row for i, row in enumerate(rows, 1)]
    read = parse_check_rows(as_csv(numbered), "bar-found.csv").readings
    assert [(r.head, r.turned) for r in read[:4]] == [
        ("A", False),
        ("B", False),
        ("A", True),
        ("B", True),
    ]
    assert len(read) == 8


def test_the_step_says_how_the_head_is_to_sit():
    basis = "stub shaft against the fence of the spindle, " + "squared end for end " * 3
    heads = [HeadAtHand("A", "KL-A", CHANNELS)]
    scope = Scope(turned=("azimuth_cross",), seats={"azimuth_cross": basis.strip()})
    (step,) = [s for s in steps_of(heads, REGISTER.references, scope, {}) if "turn " in s.name]
    shown = screen(begun((step,), {}), Live({}))
    assert "against the fence of the spindle" in " ".join(" ".join(shown).split())
    assert max(map(len, shown)) <= 80
