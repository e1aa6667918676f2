"""Voicings of one chord: available tones, templates, and every candidate as arrays."""
