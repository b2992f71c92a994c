"""Reports on paper and on screens: HTML, Markdown and JSON from the same plain data."""
