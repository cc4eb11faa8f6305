"""Exercises and a simulated job for people who learn to mix."""
