"""Measure, and print a table or JSON. No figure passes or fails here."""

import argparse
import json
import os
import platform

import bench
import ble
import delay
import display
import emulated
import fits
import jobs
import live
import load
import network
import planning
import runout
import throughput
import turned
import waiting
from rich.console import Console
from rich.table import Table

SECTIONS = {
    "chain": throughput.chain,
    "latency": delay.latency,
    "load": load.load,
    "start": delay.start,
    "ble": ble.ble,
    "emulated": emulated.emulated,
    "fit": fits.fit,
    "coverage": fits.coverage,
    "bound": runout.bound,
    "peers": runout.peers,
    "network": network.network,
    "live": live.live,
    "waiting": waiting.waiting,
    "turned": turned.turned,
    "plan": planning.planning,
    "jobs": jobs.jobs,
    "bench": bench.bench,
    "page": display.opening,
    "alone": display.alone,
    "hours": display.hours,
    "displays": display.displays,
}


def main():
    parser = argparse.ArgumentParser(prog="tools/figures", description=__doc__)
    parser.add_argument("sections", nargs="*", metavar="SECTION", help=", ".join(SECTIONS))
    parser.add_argument("--quick", action="store_true", help="shorter and rougher")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    args = parser.parse_args()
    unknown = [name for name in args.sections if name not in SECTIONS]
    if unknown:
        parser.error(f"no section {unknown[0]}; there are: {', '.join(SECTIONS)}")
    console = Console(stderr=args.json, width=110)
    busy = os.getloadavg()[0]
    machine = {"cores": os.cpu_count(), "machine": platform.machine(), "load": round(busy, 2)}
    console.print(
        f"{machine['machine']}, {machine['cores']} cores, load {busy:.2f}", highlight=False
    )
    if busy > 0.5:
        console.print("the machine is busy: take ratios, not figures", style="bold")
    found = {}
    for name in args.sections or SECTIONS:
        found[name] = SECTIONS[name](args.quick)
        if not args.json:
            console.print(table(name, found[name]))
    if args.json:
        print(json.dumps({"machine": machine, "figures": found}, indent=2))


def table(name, rows):
    shown = Table(title=f"{name}: {SECTIONS[name].__doc__}", title_justify="left")
    for title in ("what", "figure", "unit", "ratio", "against"):
        shown.add_column(title, justify="right" if title in ("figure", "ratio") else "left")
    for each in rows:
        value = "" if each["value"] is None else f"{each['value']:,.4g}"
        if each["value"] is not None and each["value"] >= 1000:
            value = f"{each['value']:,.0f}"
        ratio = "" if each["ratio"] is None else f"{each['ratio']:.2f}"
        shown.add_row(each["what"], value, each["unit"], ratio, each["against"])
    return shown


if __name__ == "__main__":
    main()
