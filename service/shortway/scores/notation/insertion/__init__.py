"""The piano part put into a lead sheet, whose repeats stay or are expanded."""
