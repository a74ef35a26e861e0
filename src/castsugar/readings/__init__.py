"""What the user measured and keeps in CSV files: strands, recordings."""
