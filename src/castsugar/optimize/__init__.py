"""Which mix: the space of mixes, the search in it, and why the answer is that one."""
