"""The job as a log of events, the graph of steps, and the walker that moves through it."""
