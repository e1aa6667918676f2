"""Pictures of a path as SVG: the grand staff, keyboards, voice lines.

Each module draws one picture as UTF-8 bytes, always the same for the same input, with a title and a
description for screen readers, no script and no external resource. `staff` needs Verovio.
"""
