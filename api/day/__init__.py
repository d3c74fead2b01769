"""A crew's day: its sheet on a phone and on paper, loading, steps signed, results, photos."""
