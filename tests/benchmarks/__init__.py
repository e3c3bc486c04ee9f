"""How fast a corridor is checked, beside a plain script and beside reading and writing alone."""
