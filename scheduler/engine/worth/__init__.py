"""What would pay, and what would be fair: changes of the week priced, overtime spread among crews."""
