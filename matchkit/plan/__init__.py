"""Which drawdowns to make, in which order, and what the pots held."""
