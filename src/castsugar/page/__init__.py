"""The live page of a bench: what its boxes ask, and what it answers."""
