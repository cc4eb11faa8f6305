"""Blind jobs on simulated inks: how often a batch comes in tolerance."""
