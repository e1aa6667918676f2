"""Reviews: notes that somebody played over a chart, checked against the rules and the best path."""
