"""Core values as JSON values, one module per noun; keys stand in the contract's order.

Pure functions: HTTP, batches and the command line answer with them, and write the bytes.
"""

from typing import Any

Json = dict[str, Any]
