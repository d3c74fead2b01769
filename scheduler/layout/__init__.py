"""From a site survey to the wall's layout: where the brackets go, what holds them, and what to look out for."""
