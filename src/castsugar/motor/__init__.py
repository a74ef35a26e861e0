"""From burn rates to the pressure in the user's own hardware."""
