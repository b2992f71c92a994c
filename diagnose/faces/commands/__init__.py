"""The command line: what can be typed, its help, and how errors end.

Only click is imported at the top of these modules, so that ``--help``, ``--version`` and the
shell's completion answer at once. What a command does stands in the modules beside this folder
and is imported when the command runs.
"""
