"""A study made of files as they are: what they say is read, the rest assumed and said so."""
