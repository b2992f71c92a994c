"""What closed cases say about how often parts fail; no database, no printing."""
