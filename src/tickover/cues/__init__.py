"""What carries a routine to the car: tone tracks, the printed card, the phone coach."""
