"""MusicXML documents as bounded, validated element trees: zip, XML, part order, typed values."""
