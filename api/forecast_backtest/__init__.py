"""Would knowing the weather have helped? A year of real hourly weather, invented jobs, plans with and without forecast.

`observations` reads what weather stations recorded, `predict` makes forecasts of it, `invent` the jobs of a week,
`score` tells what the weather took from a plan, `run` puts them together and `report` writes the tables and the plot.
"""
