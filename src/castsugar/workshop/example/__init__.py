"""Files of the example scenario: an invented club; nothing in them was measured."""
