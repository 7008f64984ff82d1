"""The display in a real browser: how soon, how much, how long, how many."""

import contextlib
import json
import re
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

from rig import (
    HERE,
    cpu_share,
    feeding,
    free_port,
    mosquitto,
    mosquitto_path,
    process,
    service,
    wait_for_port,
)
from rows import row

sys.path.insert(0, str(Path(__file__).parents[2]))

from tools.rehearsal.driving import driven, page_alone, taken

READY_MS, SENT_KB, PIXEL_MS, SHARE = 1000.0, 300.0, 120.0, 20.0
"""What is asked for: first button, files, newest sample to pixel, a core's percent."""
SLOWER = 4
"""So many times slower than this machine a workshop's tablet may be."""
DISPLAYS = 30
LED = (("rigid-4x2", "en"), ("rigid-8x4", "de"))
"""Jobs that are led from the page, and in which language."""
LED_S = 1800


def chromium_path():
    return shutil.which("chromium")


def skipped(what, program):
    return [row(f"{what}: skipped, {program} is not installed", None, "")]


def opening(quick):
    """From the address to the first button of the page, and what is sent for it, nothing cached."""
    chromium = chromium_path()
    if chromium is None:
        return skipped("page", "chromium")
    rows = []
    for slower in (1, SLOWER):
        with page_alone() as url:
            told = driven("opening.mjs", url, chromium, 3 if quick else 9, slower, within_s=300)
        where = "on this machine" if slower == 1 else f"slowed down {slower} times"
        share = told["ready_ms"] / READY_MS
        rows.append(
            row(f"first button, {where}", told["ready_ms"], "ms", share, f"of {READY_MS:g} ms")
        )
    return [
        *rows,
        row("sent, packed", told["sent_kB"], "kB", told["sent_kB"] / SENT_KB, f"of {SENT_KB:g} kB"),
    ]


def hours(quick):
    """Eight hours of live data through one page: what its script and its elements take."""
    chromium = chromium_path()
    if chromium is None:
        return skipped("hours", "chromium")
    total, between = (60, 20) if quick else (480, 60)
    with page_alone() as url:
        told = driven("hours.mjs", url, chromium, total, between, 100, within_s=7200)
    marks = told["marks"]
    rows = [row("messages", told["messages"], "")]
    for each in marks:
        what = f"{each['nodes']} elements, {each['listeners']} listeners"
        rows.append(row(f"after {each['minutes'] / 60:.2g} h: {what}", each["heap_kB"], "kB"))
    since = marks[0]["minutes"]
    rows += [
        row(f"more {what} since the first mark", taken(marks, what, since), "")
        for what in ("nodes", "listeners")
    ]
    more = taken(marks, "heap_kB", since)
    return [
        *rows,
        row("more memory since then", more, "kB", more / marks[0]["heap_kB"], "of what it was"),
    ]


def alone(quick):
    """A whole simulated alignment from the page alone; newest sample to pixel while adjusting."""
    chromium = chromium_path()
    if chromium is None:
        return skipped("alone", "chromium")
    jobs = LED[:1] if quick else LED
    return [each for vehicle, language in jobs for each in led(vehicle, language, chromium)]


def led(vehicle, language, chromium):
    """Lead one job on the page in a language, and tell what it took and what was wrong."""
    command = [sys.executable, "-u", "-m", "ingest.cli", "practice", vehicle, "--by-hand"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as bay:
        try:
            url = next(
                found[0] for line in bay.stdout if (found := re.search(r"http://\S+/", line))
            )
            threading.Thread(target=bay.stdout.read, daemon=True).start()  # a full pipe stops it
            told = driven("technician.mjs", url, chromium, LED_S, language, within_s=LED_S + 60)
        finally:
            bay.kill()
    about = f"{vehicle}, {language}"
    rows = [row(f"whole alignment, {about}, page and report", told["page_alone_s"], "s")]
    for percent in (50, 95):
        ms = told[f"pixel_p{percent}_ms"]
        what = f"newest sample to pixel, p{percent}, {about}"
        rows.append(row(what, ms, "ms", ms / PIXEL_MS, f"of {PIXEL_MS:g} ms"))
    return [
        *rows,
        row(f"numbers that were painted, {about}", told["painted"], ""),
        row(f"times that the page saw its connection lost, {about}", told["said_lost"], ""),
        row(f"sentences not told in its language, {about}", told["untold"], ""),
        row(f"sweeps refused without a word before, {about}", told["surprises"], ""),
    ]


def displays(quick):
    """Thirty displays on one bay with mosquitto: shares of a core."""
    if mosquitto_path() is None:
        return skipped("displays", "mosquitto")
    seconds = 5.0 if quick else 20.0
    rows = []
    for count in (0, DISPLAYS):
        with contextlib.ExitStack() as stack:
            port, web = stack.enter_context(mosquitto()), free_port()
            paths = stack.enter_context(feeding(4, 100.0, seconds + 40, "frames"))
            ours = stack.enter_context(service(paths, port))
            where = ("--port", str(port), "--web-port", str(web))
            page = stack.enter_context(
                process(sys.executable, "-m", "ingest.cli", "display", *where)
            )
            wait_for_port(web, 20.0)
            command = [sys.executable, str(HERE / "displays.py"), str(web), str(count)]
            asked = subprocess.Popen(
                command, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True
            )
            stack.callback(asked.wait)
            stack.callback(asked.kill)
            asked.stdout.readline()
            time.sleep(3.0)
            share, _ = cpu_share(ours.pid, seconds)
            relay, _ = cpu_share(page.pid, seconds)
            asked.stdin.close()
            heard = json.loads(asked.stdout.readline())
        with_ = f"{count} displays"
        rows += [
            row(
                f"service, {with_}",
                100 * share,
                "% of a core",
                100 * share / SHARE,
                f"of {SHARE:g} %",
            ),
            row(f"the page's server, which relays, {with_}", 100 * relay, "% of a core"),
            row(f"messages a second at a display, least, {with_}", heard["least_per_s"], "1/s"),
        ]
    return rows
