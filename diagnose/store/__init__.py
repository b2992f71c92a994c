"""The casebook: cases as rows of events in SQLite or PostgreSQL, never changed, only added to."""
