"""Exit codes, and what they mean to a script."""

ANSWERED = 0
INPUT_WRONG = 2
