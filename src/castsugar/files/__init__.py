"""The user's files: whole or not at all, and one process at a time. Floor 1."""
