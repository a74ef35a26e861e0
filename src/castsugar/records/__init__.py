"""Batches that were made: one file each, written line by line.

`record` holds the format, `batch` what a batch answers; `folder` reads and
writes; `prediction` says what is foreseen; `learning` learns from what came of it.
"""
