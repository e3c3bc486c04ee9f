"""The work that a plan comes to, grouped into outages."""
