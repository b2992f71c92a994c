"""The next test: what could be done, what each outcome would mean, what it is worth."""
