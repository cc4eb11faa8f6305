"""Blind jobs on simulated inks: how often a batch is in tolerance."""
