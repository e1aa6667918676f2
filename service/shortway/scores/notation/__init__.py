"""MusicXML scores: written from a path."""
