"""Wires as surveyed: points told apart by wire and span, fitted, and made the state from which a study starts."""
