"""Exit codes: 0 is an answer."""

# What was asked or read is wrong: the message is on stderr and nothing is on stdout.
INPUT_WRONG = 2
