"""Music theory: note names, chord qualities and chords. Knows no text and no keyboard."""
