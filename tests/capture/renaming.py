"""What was said live, under the names that a replay has."""


def under_another_name(said):
    """Return what was said live as the replay of bay7 has to say it."""
    return [
        (
            topic.replace("/bay7/", "/bay7-replay/"),
            payload.replace(b"/bay7/", b"/bay7-replay/").replace(
                b'"bay":"bay7"', b'"bay":"bay7-replay"'
            ),
            retain,
            qos,
        )
        for topic, payload, retain, qos in said
    ]
