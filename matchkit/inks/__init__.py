"""What a person holds: inks, drawdowns, a shop, recipes, fitted inks, hiding."""
