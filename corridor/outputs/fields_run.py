"""Columns that tell of the run and of its inputs, for the schema."""

__all__ = ["FIELDS"]

FIELDS = (
    ("software_version", "text", None, "version of corridor"),
    ("study", "text", None, "the study file"),
    ("study_digest", "text", None, "its SHA-256"),
    ("layer_digests", "text", None, "SHA-256 over the rows of each layer, as JSON: tells of rows changed since"),
    ("inputs", "text", None, "every input as JSON: path, digest, CRS, unit (the table `inputs` has one row for each)"),
    ("frame", "text", None, "the grid everything was computed in, and why it was chosen"),
    ("vertical_datum", "text", None, "what elevations are above: that of the ground raster"),
    ("vertical_unit", "text", None, "unit the ground raster was read in; every elevation here is in m"),
    ("time", "datetime", None, "when the run began, UTC"),
    ("warnings", "text", None, "what the person should look at, one per line"),
    ("cautions", "text", None, "what these findings are not good for, one per line"),
    ("part", "text", None, "the key of the study that names the file"),
    ("path", "text", None, "the file, as the study names it"),
    ("source_layer", "text", None, "layer within the file"),
    ("digest", "text", None, "SHA-256 of the file"),
    ("crs", "text", None, "its coordinate reference system"),
    ("vertical_crs", "text", None, "its vertical reference system; null where the file does not say"),
    ("unit", "text", None, "unit its elevations were read in, and those of numbers in columns"),
    ("features", "real", None, "features of a layer of obstacles"),
    ("features_near", "real", None, "those within 500 m of the box about the line: the others are not looked at"),
    ("features_compared", "real", None, "those with a row in `clearances`"),
)
