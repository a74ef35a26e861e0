"""Documents that pages are tried on; importable with ``tests/browser`` on the path."""

from page_checks.contrast import CONTRAST
from page_checks.nasty import NASTY, nasty
from page_checks.record import record

__all__ = ["CONTRAST", "NASTY", "nasty", "record"]
