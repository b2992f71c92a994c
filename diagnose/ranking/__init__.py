"""From findings to ranked causes: evidence, posterior, groups, explanation, the report."""
