"""What the hands and the band play, and what a hand can reach."""
