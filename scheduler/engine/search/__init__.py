"""The search for plans and their proof: local search, diving, neighborhoods, closing of the gap."""
