"""CPU and memory of the service beside the better script."""

import contextlib
import time

from rig import cpu_share, feeding, mosquitto, mosquitto_path, peer, service
from rows import row


def load(quick):
    """CPU and memory for 4 and 32 heads at 100 Hz on mosquitto, beside the better script."""
    if mosquitto_path() is None:
        return [row("load: skipped, mosquitto is not installed", None, "")]
    seconds = 3.0 if quick else 10.0
    rows = []
    for count in (4,) if quick else (4, 32):
        with contextlib.ExitStack() as stack:
            port = stack.enter_context(mosquitto())
            paths = stack.enter_context(feeding(count, 100.0, seconds + 20, "frames"))
            ours = stack.enter_context(service(paths, port))
            time.sleep(4.0)
            share, resident = cpu_share(ours.pid, seconds)
        with contextlib.ExitStack() as stack:
            port = stack.enter_context(mosquitto())
            paths = stack.enter_context(feeding(count, 100.0, seconds + 20, "lines"))
            theirs = stack.enter_context(peer("waiting", port, paths))
            time.sleep(4.0)
            their_share, their_resident = cpu_share(theirs.pid, seconds)
        rows += [
            row(f"better script, {count} heads", 100 * their_share, "% of a core"),
            row(
                f"levelhead, {count} heads",
                100 * share,
                "% of a core",
                share / their_share,
                "of the script's",
            ),
            row(f"better script, {count} heads, resident", their_resident, "MB"),
            row(f"levelhead, {count} heads, resident", resident, "MB"),
        ]
    return rows
