"""What the tests of the solvers share: mixes as arrays, and their rows read back."""
