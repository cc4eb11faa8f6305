"""Kubelka-Munk optics: hiding films, a film over a ground, the surface."""
