"""The search for conductors that a line could carry."""
