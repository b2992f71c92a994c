"""What happened at the planter, as plain values, and how it is read from text and files."""
