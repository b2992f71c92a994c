"""The command line: one module for each command, with what can be typed and what it does.

``root`` holds them together and imports one only when it is called (`diagnose.ui.lazy`).
"""
