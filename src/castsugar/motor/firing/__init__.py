"""The static test: from samples of pressure and thrust to what the firing says."""
