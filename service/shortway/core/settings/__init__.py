"""Settings: who plays and what is allowed, with the tables of families, presets and keyboards."""
