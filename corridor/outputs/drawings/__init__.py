"""Drawings of ratings, ladders and temperatures, as SVG, PNG or PDF."""
