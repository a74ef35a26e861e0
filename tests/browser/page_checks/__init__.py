"""What pages are looked through for; importable with ``tests/browser`` on the path."""

from page_checks.axe import kept_out
from page_checks.contrast import CONTRAST

__all__ = ["CONTRAST", "kept_out"]
