"""Limits: what each quantity of each axle should be, who said so, and whether it is met."""
