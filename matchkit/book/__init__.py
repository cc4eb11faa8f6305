"""The record book: what was asked, weighed, measured, added and kept."""
