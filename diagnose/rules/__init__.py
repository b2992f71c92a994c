"""Rules: the language in which they are written, and their run on the facts of a case."""
