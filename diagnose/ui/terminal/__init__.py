"""What a terminal shows, and how it asks."""
