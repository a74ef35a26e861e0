"""The command line: parse, call, print. Floor 7."""
