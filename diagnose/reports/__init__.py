"""The answers of the program as types: one model for every JSON document that a command prints."""
