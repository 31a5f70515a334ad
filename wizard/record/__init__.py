"""The store of jobs: an event log in SQLite."""
