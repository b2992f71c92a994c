"""What to do next in a finite troubleshooting problem.

Nothing in this package knows about planters. Hypotheses have probabilities, tests have
outcomes, repairs have proofs, and both may want the machine set up in some way.

In the order of the modules:

`problem`
    hypotheses, tests, repairs and set-ups, as arrays.
`situation`
    where things stand after some acts, many at once.
`repairs`
    the order of repairs when nothing more is tested.
`information`
    bits that tests tell, and bits per minute.
`bound`
    what even a perfect diagnosis would leave to do.
`lookahead`
    the next act, a few acts ahead, as far as time allows.
`policy`
    the whole tree of acts over their outcomes.
`isolation`
    the cheapest tree of sure tests that tells hypotheses apart.
`cover`
    the cheapest tests, all decided now, that tell every pair apart.
"""
