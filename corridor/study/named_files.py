"""The files that a study names."""

__all__ = ["named_files"]


def named_files(study):
    """Yield place in the study and name, as it stands there, of every file that is read."""
    for key in ("ground", "surface"):
        for i, name in enumerate(getattr(study.terrain, key)):
            yield f"terrain.{key}.{i}", name
    yield "structures.file", study.structures.file
    yield "framings.file", study.framings.file
    if study.capacity is not None:
        yield "capacity.file", study.capacity.file
    if study.curves is not None:
        yield "curves", study.curves
    for i, option in enumerate(study.options):
        if option.measured is not None:
            yield f"options.{i}.measured", option.measured
    if study.series is not None:
        yield "series.file", study.series.file
    for i, obstacle in enumerate(study.obstacles):
        yield f"obstacles.{i}.file", obstacle.file
    for i, cloud in enumerate(study.point_clouds):
        for k, name in enumerate(cloud.files):
            yield f"point_clouds.{i}.files.{k}", name
    for section in ("rules", "right_of_way"):
        table = getattr(study, section)
        if table is not None and table.file is not None:
            yield f"{section}.file", table.file
