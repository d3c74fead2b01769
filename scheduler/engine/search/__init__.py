"""The search for plans and their proof: diving, neighborhoods, branching, closing of the gap."""
