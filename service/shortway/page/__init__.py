"""The files of the page at ``/`` and of ``/docs``: plain HTML, CSS and script modules."""
