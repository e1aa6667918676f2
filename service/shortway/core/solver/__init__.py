"""The solver: a chart and a setting in, the optimal path out."""
