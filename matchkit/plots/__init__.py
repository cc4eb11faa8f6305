"""Pictures: each function takes an `ax`, draws into it and returns it."""
