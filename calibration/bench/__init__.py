"""The calibration bench as pure state machines: events in, state, prompts and effects out."""
