"""One script a version."""
