"""Scripts that look at pages in a browser."""

from page_checks.contrast import CONTRAST

__all__ = ["CONTRAST"]
