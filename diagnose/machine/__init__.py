"""One planter as a graph: which part needs which, and what each row depends on."""
