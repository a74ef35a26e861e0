"""Examples to be read, copied and changed; the ``plot`` extra brings what they need."""
