"""Lead sheets in MusicXML: read as charts."""
