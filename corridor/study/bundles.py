"""What the keys of a bundle say about each other."""

from corridor.clearance.bundles import ARRANGEMENTS
from corridor.errors import InputError

__all__ = ["bundles_are_whole"]


def bundles_are_whole(study):
    """Only a bundle has a spacing and an arrangement, and of as many subconductors as that is for."""
    for i, option in enumerate(study.options):
        for key in ("bundle_spacing", "bundle_arrangement"):
            if option.bundle == 1 and getattr(option, key) is not None:
                yield InputError(study.path, f"options.{i}.{key}", f"{getattr(option, key)!r} of a single wire",
                                 "bundle = 2 or more beside it, or no such key")
        wanted = ARRANGEMENTS.get(option.bundle_arrangement, 0)
        if option.bundle > 1 and wanted not in (0, option.bundle):
            yield InputError(study.path, f"options.{i}.bundle_arrangement",
                             f"{option.bundle_arrangement!r} of {option.bundle} subconductors",
                             " | ".join(name for name, count in ARRANGEMENTS.items() if count in (0, option.bundle)))
