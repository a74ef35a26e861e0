"""Proof of a flame temperature: points found in doubles, bounds checked in balls."""
