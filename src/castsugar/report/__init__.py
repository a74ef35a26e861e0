"""What a result looks like: text, CSV, JSON. No arithmetic but units."""
