"""The cheapest remedies that put an option right, from the study to the planned copy."""
