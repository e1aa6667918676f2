"""Voice leading between two voicings: distance, order of preference, pruning, remarks."""
