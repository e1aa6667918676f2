"""The manual: Markdown pages, served below ``/docs`` and readable in the repository."""
