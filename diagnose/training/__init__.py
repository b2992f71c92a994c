"""Training: worked cases and drills."""
