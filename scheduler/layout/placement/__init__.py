"""Where the brackets go, and what is missing where there is no place for them."""
