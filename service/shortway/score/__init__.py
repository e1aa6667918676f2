"""Lead sheets in; scores, sound and pictures out.

Stands on the core and the wire shapes; no web, no files. What loads a heavy library (music21,
Verovio) is a module of its own, imported by its callers when it is first needed.
"""
