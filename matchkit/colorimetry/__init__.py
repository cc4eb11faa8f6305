"""Colour from spectra: grid, illuminants, tristimulus values, differences, metamerism."""
