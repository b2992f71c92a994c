"""Tolerances and limits, each with its reason: how much is taken in, how close is close.

A limit on what is typed or read is there so that no input, however it came to be, costs more memory
or time than somebody beside a planter would wait for. Each is far beyond what a planter of 96 rows
needs in a season, and is checked before the work that it saves.
"""

from __future__ import annotations

LARGEST_YAML = 5_000_000
"""Bytes of a rule, a case file or a story. The largest that ships has 11,000; a case at the limits
below is written in 70,000, its story in 1,000,000, and the rest is room for long notes."""

LARGEST_LAYOUT = 100_000
"""Bytes of a layout's file, which goes whole into each case that is opened with it."""

LARGEST_LOG = 5_000_000
"""Bytes of a CSV log: 100 runs of 120 rows with a time and a name in every line."""

MOST_VALUES = 100_000
"""Names, values, lists and mappings in a file; each takes a kilobyte until the file is read. A
story of `MOST_EVENTS` has 60,000."""

DEEPEST = 40
"""Levels of nesting in a file. The deepest form that ships has 8."""

MOST_ROWS = 120
"""Rows of a machine. Wide planters have 48, a few 96. Explaining a pattern of many scattered
failures takes 4 seconds on 96 rows and 18 on 200."""

MOST_EXTRAS = 200
"""Parts of a layout beyond the usual ones; every one may feed every row."""

LONGEST_NAME = 200
"""Letters of the name of a machine, which is the headline of every screen."""

MOST_NOTES = 100
"""Circumstances that are said of one run; 7 are known."""

MOST_LISTED = 30
"""Modes, remedies, measurements, swaps and results of one part kind; the most that ship is 6."""

MOST_RUNS = 100
"""Runs of a case. A long day's work has 20, and what rules compare grows with the square."""

MOST_TIMES = 1e6
"""How many times what was expected a reading or a feed is taken to be at most: beyond that nothing
more follows from it, and rules hold numbers of 11 digits."""

MOST_READINGS = 500
"""Readings of a case, ten for each row of a wide planter; each is compared with those before it."""

MOST_WORK = 200
"""Remedies and swaps of a case. Each begins an epoch, in which the machine is another."""

MOST_EVENTS = 3_000
"""Events of a story: all of the above, every one of them corrected, and notes beside them."""

MOST_WORDS = MOST_RUNS + MOST_READINGS + MOST_WORK
"""Things typed on one command line."""

LONGEST_WORD = 2_000
"""Letters of one typed thing, of a pattern, or of the rows of one item; 120 rows named one by one
take 400."""

MOST_FILES = 500
"""Files of one sort in a folder of the user's own (layouts, part kinds, rules): all of them are
looked at whenever the program starts."""

MOST_ENTRIES = 10_000
"""Files and folders that are passed over in search of rules, in case the folder is a whole disk."""

LARGEST_CACHE = 20_000_000
"""Bytes of what is remembered of data files; those that ship take 180,000."""

MOST_CACHES = 48
"""Files that are kept of that: each program in use has two, and one for each layout."""

MOST_COLUMNS = 100
"""Columns of a log; each line is held against all of them."""

MOST_TOLD = 5
"""Problems of one kind in a log that are told one by one, the others are counted: what is wrong in
hundreds of thousands of lines was written so by a program."""

MOST_CONCLUSIONS = 12
"""Findings that one rule makes each time that it fires."""

MOST_EXAMPLES = 50
"""Examples of a rule, each of which is tried by ``rules check``."""

MOST_CHOICES = 200
"""Values that a rule may list for one field."""

LONGEST_SENTENCE = 1_000
"""Letters of what a rule says; it is filled in whenever the rule fires."""

MOST_JOINED = 20_000
"""Combinations of facts in which one rule may fire in a large case (`diagnose.rules.joins`).
The engine and what is concluded take about 80 microseconds for each, so two seconds."""

MOST_TRIED = 5_000_000
"""Facts that may be held against those combinations to see that something is *not* there; each
takes a fifth of a microsecond."""

MOST_JOINED_TOGETHER = 300_000
"""Combinations in which all rules may fire. Those that ship could fire in 160,000, if all of them
did so as often as they can; in the worst case that was found they do in 2,000."""

# How closely decisions are reckoned

NEGLIGIBLE_OUTCOME = 1e-13
"""A share of probability that is rounding error."""

UNTHREADED = 250_000
"""Multiplications that a linear algebra library does without waking its threads."""

COVER_NODES = 5_000
"""Steps of the exact search before the best found so far is given as it is (judgement)."""

BELIEFS_AT_ONCE = 256
"""Situations looked at together: enough for fast arithmetic, few enough for memory."""

WIDER = 2
"""Tests by bits per minute that are weighed exactly, for each act that is then kept."""

ACTS_ALIKE = 6
"""Acts whose minutes agree to so many decimals are equals: the rest is rounding."""

VALUES_ALIKE = 1e-9
"""Values nearer than this, in relation to their size, are the same."""

ROUNDING = 1e-9
"""By how much probabilities may fail to sum to 1."""

REPAIR_STEPS = 12
"""Repairs chosen one by one with their changes of set-up; later ones go by the last set-up."""

# How causes are weighed and named

CHANCES_ALIKE = 12
"""Causes whose probabilities agree to so many decimals are equals: the rest is rounding."""

KNOWN_BAD_SPOILS = 0.9
"""The chance that a circumstance known to be bad matters in its run (judgement)."""

LIKELY_ENOUGH_TO_JOIN = 0.02
"""A cause this probable is worth naming as part of a set."""

EXPLAINED_ALONE = 0.5
"""With this probability of one cause that explains everything, no set needs to be named."""

UNMOVED, CLEARLY_MOVED, STRONGLY_MOVED = 0.1, 1.0, 2.5
"""Changes of log-odds (natural) that are not worth a word, that are clear, that are strong."""

GOOD_ENOUGH_TO_EXPLAIN = 1e-8
"""Share of the evidence that may be left out where a change of log-odds or an order is told."""

ROUGHLY = 1e-3
"""The same where it is enough to know who leads by more than that."""

BELIEVED = 0.5
"""A cause that is likelier there than not is believed, whatever else is there."""

MOST_ITEMS = 150
"""Of more things known whole runs are weighed, not blocks of their rows."""

SURE = 1e-12
"""Probabilities closer than this to 0 or 1 count as this close."""

# What the planner looks at

GOOD_ENOUGH_TO_CHOOSE = 1e-8
"""Share of the evidence that may be left out where what might come next is told."""

WORTH_GROWING = 0.03
"""Outcomes less probable than this are told, but what to do then is left open."""

WORTH_TELLING = 0.0005
"""Outcomes less probable than this are told together, as anything else."""

NO_CHANCE = 1e-9
"""Probabilities that sum to 1 within this leave nothing over."""

SETTLED = 0.9
"""With the goal to isolate, a fault group is told apart when one cause has so much of the blame."""

DEPTH, WIDTH, SECONDS = 2, 6, 0.3
"""How far to look ahead: acts deep, acts followed at each step, and no longer than this."""

EARNED, TELLING = 0.1, 0.05
"""What earns back less than this part of its minutes, and tells fewer bits, is offered last."""

LIKELY_TO_PASS = 0.4
"""From this chance on that the mere check again passes, it is looked at more closely."""

CLEARLY_BETTER = 0.03
"""By so much of the minutes a question must beat the rest, since it is followed one act farther."""

QUESTIONS = 1
"""So many questions, the most telling ones, are looked at more closely."""

UNLIKELY_PART = 0.05
"""No part that is less likely to be at fault is replaced while there is something that tells."""

DIFFERENT_IN_VAIN, ALL_IN_VAIN = 5, 7
"""After so many different remedies in vain, or so many in all, somebody else looks at the row.

Judgement; and each failure after more work doubles what an exact answer takes.
"""

REMEDIES_AT_ONCE = 2
"""How many remedies are reckoned for when several causes are to blame together."""

SAME_REMEDY_OFTEN = 2
"""So often a remedy is done to a fault at most, unless it goes on where it left off (judgement)."""

PROVEN_BELOW = 0.05
"""No part that could explain what failed may be more probably faulty than this."""

MOST_PASSES = 6
"""Where more passes than this would be needed, passes alone are not what settles it (judgement)."""

ISOLATED_ABOVE = 0.02
"""Causes at least so probable are to be told apart."""

MINUTES_ALIKE = 1e-9
"""Minutes nearer than this, in relation to their size, are the same."""

MISTAKEN = 0.15
"""Chance of mixing up two equally likely causes by one outcome, up to which it parts them."""

UNLIKELY_BLAME = 1e-4
"""Blames less probable than this do not change what to do next."""

LEAST_FIXED = 0.01
"""A remedy is not reckoned to be repeated more often than this chance would have it."""

UNINFORMATIVE = 1e-6
"""Tests that tell fewer bits than this are left out."""

FEW_ROWS = 3
"""Reruns of so few rows are told apart in every detail; larger ones by their main outcomes."""

MOST_RERUNS = 4
"""A row that was in so many runs of a check since the last work is not rerun once more.

Judgement: what comes and goes so often is not found by running it again.
"""

MOST_FAILURES = 6
"""A row that failed so often is run again to prove a remedy only (judgement)."""

MOST_SUSPECTS = 8
"""Failed rows that are rerun one by one, with neighbours, or all together.

A section or a branch of wiring seldom has more; of more, those nearest to the target are rerun:
what a row far away does tells little about who is to blame for it.
"""

RARE = 0.001
"""Outcomes less probable than this are not listed."""

FAIL_TOGETHER = 0.5
"""Rows belong to one fault group when causes that they share hold so much of the blame."""
