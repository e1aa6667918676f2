from collections.abc import Sequence

def best_path(
    layers: Sequence[tuple[object, ...]],
    seams: Sequence[tuple[object, ...]],
    voices: int,
    apart: int,
    closed: bool,
    /,
) -> list[int] | None: ...
