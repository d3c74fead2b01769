"""Tables that somebody hands in: looked over before they are opened, then read as text, faults with their cells."""
