"""Invented inks that obey radiative transfer, never the theory that is fitted."""
