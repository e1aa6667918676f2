"""Chart files of other formats as charts: chord-and-time files, ChordPro, ABC, RomanText."""
