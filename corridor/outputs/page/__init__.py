"""The page a planner opens in a browser: one file, nothing from outside."""
