"""The sets of limits that come with the program: files beside this one, read and never changed."""

from importlib.resources import files

from ingest.job.limits.limitset import LimitSet
from ingest.payload.limits_file import parse_limits

FOLDER = "shipped"


def shipped_names() -> tuple[str, ...]:
    """Return their names, in order."""
    folder = files(__package__) / FOLDER
    return tuple(sorted(each.name.removesuffix(".toml") for each in folder.iterdir()))


def shipped(name: str) -> LimitSet | None:
    """Return the set of that name, None where there is none."""
    if name not in shipped_names():
        return None
    path = files(__package__) / FOLDER / f"{name}.toml"
    return parse_limits(path.read_text(encoding="utf-8"), f"shipped limits {name}")
