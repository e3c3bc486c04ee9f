"""What voltage and current of a line do about it: reactance, charges, field, gradient, induced current; arrays only."""
