"""The user's own files: bench, readings, records."""
