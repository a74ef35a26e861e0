"""The record of a change of formulation, and mixes side by side, as documents.

Content only: what a :class:`castsugar.comparison.change.Change` holds, put in words,
tables and pictures of :mod:`castsugar.report.blocks`.
"""
