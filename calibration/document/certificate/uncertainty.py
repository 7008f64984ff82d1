"""Uncertainty budgets line by line, and how steady the head is at rest."""

from collections.abc import Iterator
from decimal import Decimal

from calibration.document.blocks import Block, Chart, Columns, Facts, Heading, Table
from calibration.document.certificate import wording
from calibration.document.certificate.parts import columns, known
from calibration.document.charts import allan_chart
from calibration.document.plain import factor, in_unit, number, quantity, symbol
from calibration.document.plot import HALF_WIDTH, Band, Curve
from calibration.records.record import CalibrationRecord
from calibration.records.results import Budget, BudgetLine, Stability

MANY = "many"


def budgets(record: CalibrationRecord) -> Iterator[Block]:
    """Yield one table for each budget, with what a Monte Carlo calculation says beside it."""
    if not record.budgets:
        return
    yield Heading("Uncertainty budgets")
    for budget in record.budgets:
        at = f", {budget.at}" if budget.at else ""
        contribution = in_unit("Contribution", budget.unit)
        titles = (
            *("Source", "Estimate", "u", "Distribution", "Divisor", "Sensitivity"),
            *(contribution, "Dof"),
        )
        numbers = {*titles} - {"Source", "Distribution"}
        yield Table(
            f"{wording.channel_name(budget.channel)}{at}",
            columns(titles, {"Source": 1}, numbers),
            tuple(map(_line, budget.lines)),
            _sums(budget),
            _monte_carlo(budget),
        )


def stability(record: CalibrationRecord) -> Iterator[Block]:
    """Yield noise, drift and the Allan deviation of every channel that was recorded at rest."""
    if not record.stability:
        return
    yield Heading("Noise and stability at rest")
    cells = [tuple(_at_rest(found)) for found in record.stability]
    for i in range(0, len(cells), 2):
        yield Columns((*cells[i : i + 2], ())[:2])


def _at_rest(found: Stability) -> Iterator[Block]:
    """Yield what stands beneath each other of one channel."""
    yield Heading(wording.channel_name(found.channel), 2)
    if found.curve:
        yield stability_chart(found)
    yield _steady(found)


def _line(line: BudgetLine) -> tuple[str, ...]:
    return (
        line.source,
        number(line.estimate),
        number(line.u),
        line.distribution,
        number(line.divisor),
        number(line.sensitivity),
        number(line.contribution),
        _dof(line.dof),
    )


def _sums(budget: Budget) -> tuple[tuple[str, ...], ...]:
    k = factor(budget.k)
    blank = ("",) * 5
    return (
        ("Combined, u", *blank, number(budget.u), _dof(budget.dof)),
        (f"Expanded, U (k = {k})", *blank, number(budget.U), ""),
    )


def _monte_carlo(budget: Budget) -> str:
    run = budget.monte_carlo
    if run is None:
        return ""
    share = f"{(Decimal(run.probability) * 100).normalize():f}"
    low, high = quantity(run.low, budget.unit), quantity(run.high, budget.unit)
    return (
        f"By propagation of distributions (JCGM 101:2008, {run.trials} trials, seed {run.seed}): "
        f"u = {quantity(run.u, budget.unit)}, {share} % of them between {low} and {high}."
    )


def _dof(dof: str | None) -> str:
    return MANY if dof is None else number(dof)


def _steady(found: Stability) -> Facts:
    unit = found.unit
    per_root_hertz = f"{symbol(unit).strip()}/√Hz"
    floor = found.bias_instability and quantity(found.bias_instability, unit)
    at = f" at {quantity(found.at_tau_s, 's')}" if found.at_tau_s else ""
    warm = found.warm_up and quantity(found.warm_up, unit)
    within = f", time constant {quantity(found.warm_up_s, 's')}" if found.warm_up_s else ""
    return known(
        (
            ("Recorded", quantity(found.recorded_s, "s")),
            (
                "Noise density",
                found.noise_density and f"{number(found.noise_density)} {per_root_hertz}",
            ),
            ("Bias instability", floor and f"{'at most ' if found.still_falls else ''}{floor}{at}"),
            ("Warm-up", warm and f"{warm}{within}"),
            ("Drift", found.per_degc and f"{quantity(found.per_degc, unit)}/°C"),
        )
    )


def stability_chart(found: Stability) -> Chart:
    """Return the Allan deviation of a channel."""
    taus = [point.tau_s for point in found.curve]
    curve = Curve("Allan deviation", taus, [point.deviation for point in found.curve])
    band = Band("95 %", taus, [p.low for p in found.curve], [p.high for p in found.curve])
    described = (
        f"Allan deviation of {found.channel} from {taus[0]:g} s to {taus[-1]:g} s, "
        f"least {min(curve.y):.2g} {symbol(found.unit).strip()}"
    )
    titles = "Averaging time in s", in_unit("Allan deviation", found.unit)
    svg = allan_chart(curve, band, *titles, described, HALF_WIDTH)
    return Chart(svg, "Overlapping Allan deviation with its 95 % interval", described)
