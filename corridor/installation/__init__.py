"""Putting a new wire up: how it is pulled, sagged and clipped in, and what must be ready for that."""
