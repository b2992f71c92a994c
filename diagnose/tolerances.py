"""How much the program takes in: every limit on what is typed or read, and the reason for it.

A limit is there so that no input, however it came to be, costs more memory or time than somebody
beside a planter would wait for. Each is far beyond what a planter of 96 rows needs in a season,
and is checked before the work that it saves.
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
