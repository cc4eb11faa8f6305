"""Answers as parts (sentence, table, picture, notice), and how each door shows them."""
