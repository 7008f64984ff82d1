"""Verification: points of known angle -> errors, figures, budgets, verdicts. All pure."""
