"""Mixes beside a baseline: what differs, how surely, and what a change rests on."""
