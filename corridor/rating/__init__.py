"""What options and spans carry: ratings, limits and ladders of spans."""
