"""File formats: strict YAML, models, units, cache; nothing of planters."""
