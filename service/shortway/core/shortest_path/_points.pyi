from collections.abc import Callable, Sequence

def best_paths(
    layers: list[bytes],
    weights: list[int],
    seams: Sequence[tuple[object, ...]],
    before: bytes | None,
    entry: tuple[object, ...],
    voices: int,
    apart: int,
    closed: bool,
    count: int,
    differs: int,
    check: Callable[[], object],
    /,
) -> list[tuple[int, ...]]: ...
