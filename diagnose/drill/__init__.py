"""Practice on hidden faults: drawing one, playing it, and saying how well it was played.

Nothing here prints or asks. The world has code of its own and calls no inference; what a player
sees becomes the story of a case, and whoever judges the moves reads that as any other case.
"""
