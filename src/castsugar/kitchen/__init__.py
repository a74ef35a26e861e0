"""How a mix cooks, pours, sets and keeps: water, liquid, slurry, heat, storage."""
