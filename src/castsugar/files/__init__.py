"""The user's files: read within limits, written whole, one process at a time. Floor 1.

`paths` turns what the system refuses into one line.
"""
