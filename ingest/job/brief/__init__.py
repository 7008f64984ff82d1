"""What a job is held against: its vehicle, its limits, and the tasks that its plan comes to."""
