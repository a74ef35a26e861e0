"""Pictures as SVG text: small pieces that know nothing of mixes.

No plotting library, no files; the same input gives the same bytes.
"""
