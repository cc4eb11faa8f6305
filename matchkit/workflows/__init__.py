"""The jobs that a person asks for, one function each; every door calls the same ones."""
