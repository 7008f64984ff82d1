"""Whole jobs on simulated vehicles, by published advice alone: how often inside is outside.

Nothing is left out: heads' bytes, filter chain, turns, network, sweeps, limits, advice and
technician are those of a service, in simulated time, and sensors, zeros, run-out, temperature and
ports err as their records say they may. Only the links are missing.
"""

import itertools
import logging
import multiprocessing
import os
import sys
import time
from pathlib import Path

import numpy as np
from rows import row
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[2]))

from ingest.commands.align_truth import BAND, agreement, true_now
from ingest.simulator.practice import Trouble
from tools.rehearsal.hands import JobOnABay

JOBS = 500
VEHICLES = (
    ("rigid-4x2", "general"),
    ("rigid-8x4", "pellowmere-17"),
    ("tractor-and-trailer", "pellowmere-42"),
)
TROUBLES = (
    Trouble.SKEWED_AXLES,
    Trouble.TOE,
    Trouble.CASTER,
    Trouble.BENT_BEAM,
    Trouble.SOFT_SUSPENSION,
)
"""Those that a job can end well with."""
BOUND = 0.999
TICK_S = 2.0
"""So much arrives at once: fewer pieces take less time."""


def jobs(quick):
    """Jobs from as found to as left by published advice: results inside, the truth outside."""
    count = 6 if quick else int(os.environ.get("LEVELHEAD_JOBS", JOBS))
    first = int(os.environ.get("LEVELHEAD_FIRST_JOB", "0"))
    began = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(os.cpu_count(), _quiet) as pool:
        done = list(pool.imap_unordered(one, range(first, first + count)))
    return summed(done, time.monotonic() - began)


def summed(done, took_s):
    """Return the rows of jobs that were done."""
    judged = [each for job in done for each in job["inside"]]
    risks = np.array([each["risk"] for each in judged])
    wrong = [each for each in judged if each["outside"]]
    hit = len({each["seed"] for each in wrong})
    bound = most_by_chance(np.array([min(1.0, sum(e["risk"] for e in j["inside"])) for j in done]))
    failed = [job for job in done if job["why"]]
    whys = "; ".join(f"seed {job['seed']} {job['vehicle']}: {job['why']}" for job in failed[:12])
    says = f"at most {bound:g} in {BOUND:.1%} of such days, if the rule's own risks are right"
    errors = np.array([job_error for job in done for job_error in job["errors"]])
    states = [state for job in done for state in job["agreed"]]
    chi2, dof, held = (sum(column) for column in zip(*states, strict=True)) if states else (0, 0, 0)
    off = len(states) - held
    by_chance = float(stats.binom.ppf(BOUND, len(states), 1.0 - BAND))
    far = float(np.mean(np.abs(errors) > 1.0)) if len(errors) else 0.0
    worst = ", ".join(f"seed {e['seed']} {e['topic']} by {e['by_u']:.1f} u" for e in wrong[:8])
    return [
        row(f"jobs, {took_s:.0f} s", len(done), ""),
        row("that did not come to an end", len(failed), "", against=whys),
        row("results called inside", len(judged), ""),
        row("of them the truth outside", len(wrong), ""),
        row("jobs with any such", hit, "", hit / max(bound, 1), says),
        row("which", None, "", against=worst),
        row("expected by the rule's risk", float(risks.sum()), ""),
        row(
            f"states of a vehicle outside the {BAND:.1%} band, of {len(states)}",
            off,
            "",
            off / max(by_chance, 1),
            f"at most {by_chance:g} in {BOUND:.1%} of such days",
        ),
        row(
            "chi-square of all states per degree of freedom",
            chi2 / max(dof, 1),
            "",
            chi2 / max(dof, 1),
        ),
        row("results, found and left, farther off the truth than U", far * 100.0, "%", far / 0.05),
    ]


def most_by_chance(risks):
    """Return how many jobs with anything wrong 99.9 % of all such days have at most.

    ``risks``: of each job, the sum of those of its results. Results of one job share heads, clamps
    and sightlines, and may all be wrong at once: whatever they share, the chance that any of them
    is wrong is no more than that sum (Boole), and jobs share nothing.

    A sum of unlike yes-or-no chances has the spread of no binomial, but less than that of the
    binomial with the same mean: its bound holds for both (Hoeffding 1956).
    """
    if not len(risks):
        return 0.0
    return float(stats.binom.ppf(BOUND, len(risks), float(np.mean(risks))))


def risk_of(reading):
    """Return the chance that the truth is outside the limits of this reading.

    That of a normal distribution about its value with its standard uncertainty, nothing being
    known before (JCGM 106, 7.2 to 7.4: what conformity lacks to one). No guard band enters.
    """
    low, high, u = reading.limit.low, reading.limit.high, reading.u
    beyond = 0.0
    if low is not None:
        beyond += stats.norm.sf((reading.value - low) / u)
    if high is not None:
        beyond += stats.norm.sf((high - reading.value) / u)
    return float(beyond)


def outside(limit, true):
    """Say whether a true value is outside a limit."""
    return (limit.low is not None and true < limit.low) or (
        limit.high is not None and true > limit.high
    )


def _quiet():
    logging.disable(logging.CRITICAL)


def plan_of(seed):
    """Return vehicle, limits and troubles of a seed: every vehicle in turn, troubles by chance."""
    vehicle, limits = VEHICLES[seed % len(VEHICLES)]
    random = np.random.default_rng((seed, 106))
    troubles = [each for each in TROUBLES if random.random() < 0.4]
    return vehicle, limits, troubles


def one(seed):
    """Do one job; return what it called inside, and what was true."""
    vehicle, limits, troubles = plan_of(seed)
    said = {"seed": seed, "vehicle": vehicle, "why": "", "inside": [], "errors": [], "agreed": []}
    try:
        job = Truthful(seed, vehicle, limits, troubles, tick_s=TICK_S)
        found = true_now(job.bay.practice, 0.0)
        job.run()
    except Exception as error:  # a job that does not end is a figure, too
        said["why"] = f"{type(error).__name__}: {error}"[:160]
        return said
    if Trouble.SOFT_SUSPENSION not in troubles:
        left, again = job.job.left, true_now(job.bay.practice, job.bay.clock.now_s)
        fresh = [reading for topic, reading in left.items() if topic not in job.job.stale]
        for state, true in ((job.job.found.values(), found), (fresh, again)):
            agreed = agreement(state, job.store.parts, true)
            said["agreed"].append((agreed.chi2, agreed.dof, agreed.holds))
    read = itertools.chain(job.found_true.items(), job.left_true.items())
    for (task, topic), (reading, true) in read:
        if reading.u <= 0.0:
            continue
        error = reading.value - true
        said["errors"].append(error / reading.U)
        if reading.limit is None or reading.decision != "inside":
            continue
        said["inside"].append(
            {
                "seed": seed,
                "topic": f"{task} {topic}",
                "risk": risk_of(reading),
                "outside": outside(reading.limit, true),
                "by_u": error / reading.u,
            }
        )
    return said


class Truthful(JobOnABay):
    """Sets the truth of the moment beside each result that is taken."""

    def __init__(self, *args, **ways):
        self.found_true, self.left_true = {}, {}
        super().__init__(*args, **ways)

    def do(self, task):
        before = (self.job.found, self.job.left)
        super().do(task)
        true = self.truth() if task.topics else {}
        for known, now, was in (
            (self.found_true, self.job.found, before[0]),
            (self.left_true, self.job.left, before[1]),
        ):
            for topic, reading in now.items():
                if reading is not was.get(topic) and topic in true:
                    known[task.id, topic] = reading, true[topic]
