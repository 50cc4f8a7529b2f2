"""What a player may ask for, read once for every way in."""
