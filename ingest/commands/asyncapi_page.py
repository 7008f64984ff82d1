"""The AsyncAPI document as one HTML page that needs nothing from elsewhere."""

import json
from collections.abc import Sequence
from html import escape
from typing import Any

Json = dict[str, Any]

STYLE = """
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 62rem; margin: 2rem auto; padding: 0 1rem;
       color: #1b1f24; background: #fff }
code, pre { font-family: ui-monospace, monospace; font-size: .9em }
pre { background: #f2f4f6; padding: .7rem; overflow-x: auto }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; vertical-align: top; padding: .2rem .7rem .2rem 0;
         border-bottom: 1px solid #c9ced4 }
section { border-top: 2px solid #1b1f24; margin-top: 2.5rem }
"""


def page(document: Json) -> str:
    """Return the page: what there is, then each channel with its keys and an example."""
    info = document["info"]
    operations = {
        op["channel"]["$ref"].rpartition("/")[2]: op for op in document["operations"].values()
    }
    title = f"{_text(info['title'])}, topics and payloads {_text(info['version'])}"
    brokers = [(s["host"], s["protocol"], s["description"]) for s in document["servers"].values()]
    levels = [
        (name, part["description"], ", ".join(part.get("enum", part.get("examples", []))))
        for name, part in document["components"]["parameters"].items()
    ]
    parts = [
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>',
        f"<style>{STYLE}</style></head><body><h1>{title}</h1>",
        f"<p>{_text(info['description'])}</p>",
        f"<h2>Brokers</h2>{_table(brokers)}",
        f"<h2>Levels of topics</h2>{_table(levels)}<h2>Topics</h2><ul>",
        *(
            f'<li><a href="#{key}"><code>{_text(channel["address"])}</code></a></li>'
            for key, channel in document["channels"].items()
        ),
        "</ul>",
        *(
            _channel(key, channel, operations[key], document)
            for key, channel in document["channels"].items()
        ),
        "</body></html>\n",
    ]
    return "\n".join(parts)


def _channel(key: str, channel: Json, operation: Json, document: Json) -> str:
    mqtt = operation["bindings"]["mqtt"]
    who = "sent by the service" if operation["action"] == "send" else "sent by a display"
    how = f"QoS {mqtt.get('qos', '0 or 1')}, {'retained' if mqtt['retain'] else 'not retained'}"
    messages = [document["components"]["messages"][name] for name in channel["messages"]]
    return "\n".join(
        [
            f'<section id="{key}"><h2><code>{_text(channel["address"])}</code></h2>',
            f"<p>{who}; {how}</p>",
            *(f"<p>{_text(each)}</p>" for each in channel["description"].split("\n\n")),
            *map(_message, messages),
            "</section>",
        ]
    )


def _message(message: Json) -> str:
    schema = message["payload"]["schema"]
    needed = schema.get("required", [])
    rows = [
        (name, _kind(part), "" if name in needed else "optional", part.get("description", ""))
        for name, part in schema.get("properties", {}).items()
    ]
    example = message["examples"][0]["payload"]
    shown = example if isinstance(example, str) else json.dumps(example, ensure_ascii=False)
    return (
        f"<h3>{_text(message['name'])}</h3>{_table(rows) if rows else ''}<pre>{_text(shown)}</pre>"
    )


def _kind(part: Json) -> str:
    if "const" in part:
        return json.dumps(part["const"])
    if "enum" in part:
        return " | ".join(map(str, part["enum"]))
    if "anyOf" in part:
        return " or ".join(_kind(each) for each in part["anyOf"])
    bounds = [f"{word} {part[key]}" for key, word in _BOUNDS.items() if key in part]
    return ", ".join([part.get("type", "any"), *bounds])


_BOUNDS = {
    "minimum": "at least",
    "exclusiveMinimum": "above",
    "maximum": "at most",
    "exclusiveMaximum": "below",
    "maxLength": "length up to",
    "pattern": "as",
}


def _table(rows: Sequence[tuple[str, ...]]) -> str:
    lines = ("".join(f"<td>{_text(cell)}</td>" for cell in row) for row in rows)
    return f"<table>{''.join(f'<tr>{line}</tr>' for line in lines)}</table>"


def _text(value: object) -> str:
    return escape(str(value))
