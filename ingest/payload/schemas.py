"""JSON Schemas of all payloads and plain files, generated from their models, never written twice.

They keep to what is the same in draft-07 and in 2020-12, since AsyncAPI takes the former.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from ingest.payload.axle import AxleResult
from ingest.payload.base import Message
from ingest.payload.cal import CalLatest
from ingest.payload.cmd import COMMANDS, Reply
from ingest.payload.command import Command
from ingest.payload.correction import READER
from ingest.payload.evt import Event
from ingest.payload.head import HeadLink, HeadMeta, HeadStatus, Reading
from ingest.payload.job import (
    JobAdvice,
    JobCaution,
    JobEvent,
    JobGuidance,
    JobLine,
    JobLive,
    JobState,
    JobStep,
)
from ingest.payload.level_file import LevelFile
from ingest.payload.limits_file import LimitsFile
from ingest.payload.network_file import NetworkFile
from ingest.payload.runout import Runout
from ingest.payload.svc import Alert, ServiceMeta, ServiceStatus, ServiceWill
from ingest.payload.sweep import Sweep
from ingest.payload.vehicle_file import VehicleFile

TOPICS: Mapping[str, tuple[str, type[Message]]] = MappingProxyType(
    {
        "svc/status": ("service-status/1", ServiceStatus),
        "svc/status (will)": ("service-will/1", ServiceWill),
        "svc/meta": ("service-meta/1", ServiceMeta),
        "svc/alert/{code}": ("alert/1", Alert),
        "head/{head}/status": ("head-status/1", HeadStatus),
        "head/{head}/meta": ("head-meta/1", HeadMeta),
        "head/{head}/link": ("head-link/1", HeadLink),
        "head/{head}/runout": ("runout/1", Runout),
        "head/{head}/sweep": ("sweep/1", Sweep),
        "head/{head}/{channel}": ("reading/1", Reading),
        "axle/{n}/{side}/{qty}": ("axle-result/1", AxleResult),
        "vehicle/{qty}": ("vehicle-result/1", AxleResult),
        "cal/{head}/latest": ("cal-latest/1", CalLatest),
        "evt/{kind}": ("event/1", Event),
        "evt/job": ("job-event/1", JobEvent),
        "job/state": ("job-state/1", JobState),
        "job/step": ("job-step/1", JobStep),
        "job/guidance": ("job-guidance/1", JobGuidance),
        "job/caution": ("job-caution/1", JobCaution),
        "job/advice": ("job-advice/1", JobAdvice),
        "job/live": ("job-live/1", JobLive),
        "job/line-{n}": ("job-line/1", JobLine),
        "reply/{client}": ("reply/1", Reply),
        **{f"cmd/{name}": (f"{name}/1", model) for name, model in COMMANDS.items()},
    }
)
"""Schema name and model by topic, with the variable levels in braces."""

FILES: Mapping[str, TypeAdapter[Any]] = MappingProxyType(
    {
        "correction-file/1": READER,
        "level-file/1": TypeAdapter(LevelFile),
        "limits-file/1": TypeAdapter(LimitsFile),
        "network-file/1": TypeAdapter(NetworkFile),
        "vehicle-file/1": TypeAdapter(VehicleFile),
    }
)
"""What reads each kind of plain file, by the name of its schema. What one key says of another is
checked on reading alone: a schema takes some files that the program refuses."""

DIALECT = "http://json-schema.org/draft-07/schema#"


class _Common(GenerateJsonSchema):
    """Words that mean the same in both drafts, and nothing else to AsyncAPI."""

    def tuple_schema(self, schema: core_schema.TupleSchema) -> JsonSchemaValue:
        """Write a list of so many alike without ``prefixItems``."""
        found = super().tuple_schema(schema)
        each = found.pop("prefixItems", None)
        if each is None:
            return found
        if any(one != each[0] for one in each):
            raise ValueError("a list of unlike parts has no schema in draft-07")
        return {**found, "items": each[0]}

    def tagged_union_schema(self, schema: core_schema.TaggedUnionSchema) -> JsonSchemaValue:
        """Leave out ``discriminator``, which is a word of OpenAPI's."""
        found = super().tagged_union_schema(schema)
        return {key: value for key, value in found.items() if key != "discriminator"}


def schema_names() -> dict[str, str]:
    """Return schema names by topic, as ``svc/meta`` tells them."""
    return {topic: name for topic, (name, _) in TOPICS.items()}


def schema(name: str) -> dict[str, Any]:
    """Return the schema of that name. Raises ``KeyError`` for a name that there is not.

    Readers ignore keys that they do not know, so the schema lets them pass. What we publish
    has all its keys; what a display asks may leave out those that have a default. The keys of a
    file that a person writes are held to strictly.
    """
    if name in FILES:
        found = FILES[name].json_schema(schema_generator=_Common)
        return {"$schema": DIALECT, "$id": f"urn:levelhead:{name}", **found}
    model = dict(TOPICS.values())[name]
    asks = issubclass(model, Command)
    found = model.model_json_schema(mode="validation" if asks else "serialization")
    return {"$schema": DIALECT, "$id": f"urn:levelhead:{name}", **_open(found)}


def _open(part: Any) -> Any:
    """Drop ``additionalProperties: false``: a newer program may add keys."""
    if isinstance(part, dict):
        kept = {k: _open(v) for k, v in part.items() if k != "additionalProperties"}
        extra = part.get("additionalProperties")
        return kept if extra in (None, False) else {**kept, "additionalProperties": _open(extra)}
    return [_open(each) for each in part] if isinstance(part, list) else part
