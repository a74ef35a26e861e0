"""A recipe as weighed, and the mix as cast."""
