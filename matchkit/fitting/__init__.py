"""K and S of the inks from measured drawdowns; outliers; the state of the instrument."""
