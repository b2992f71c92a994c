"""The casebook: cases as rows of events in SQLite or PostgreSQL. Nothing here diagnoses."""
