"""What a person weighs by and prints: weights, job size, tickets, sheets."""
