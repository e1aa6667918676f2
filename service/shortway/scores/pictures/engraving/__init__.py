"""MusicXML engraved as SVG, in a process beside the server."""
