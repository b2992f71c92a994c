"""Reports as pages, each whole in one file."""
