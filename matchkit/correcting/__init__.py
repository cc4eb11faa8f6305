"""What a batch tells and what to add to it: lots, over-pours, hold-back, leftovers."""
