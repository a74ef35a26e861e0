"""The user's files: read within limits, written whole, one process at a time.

`paths` turns what the system refuses into one line.
"""
