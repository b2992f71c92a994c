"""A case worked step by step: what is asked next, and what an answer tells. No screen, no keys."""
