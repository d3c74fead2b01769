"""The papers of a visit: layout, drawing, kit and duration, kept with a fingerprint of what they were made of."""
