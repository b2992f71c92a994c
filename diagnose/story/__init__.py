"""A case as an append-only story: events in, everything else computed by replaying them."""
