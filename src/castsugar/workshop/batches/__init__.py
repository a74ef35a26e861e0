"""Batches that were made: one file each, written line by line.

`record` holds the format and its parts, `batch` what a batch answers; `codec` checks
lines, `folder` reads, `store` writes.
"""
