"""The layers and columns of the findings: the one place where they are named, typed and explained.

Their writers make the layers from `LAYERS`, and `write_reference` makes the reference page
from it, so neither can say what the other does not.
"""

from dataclasses import replace
from pathlib import Path

from corridor.outputs import fields, survey_fields
from corridor.outputs.columns import Column, Layer

__all__ = ["INVARIANTS", "LAYERS", "Column", "Layer", "layer", "make_layer", "reference_of",
           "write_reference"]


def _columns(*rows):
    return {row[0]: Column(*row) for row in rows}


_FIELDS = _columns(
    *fields.FIELDS,
    *survey_fields.SURVEY_FIELDS,
    # keys
    ("line", "text", None, "name of the line"),
    ("span", "text", None, "`<from>-<to>`, the names of its two structures, in the order of the line"),
    ("section", "text", None, "stringing section, `<from>-<to>`, the strain structures that end it"),
    ("wire", "text", None, "name of the wire, as the framing names it"),
    ("option", "text", None, "name of the option, or mix, of the study"),
    ("case", "text", None, "name of the case of weather and load"),
    ("against", "text", None, "what is protected: `ground`, or the category of the obstacle"),
    ("obstacle", "text", None, "the obstacle, `<name in the study>:<its identifier>`; both wires where they are of the "
     "same structures; null for the ground"),
    # structures and spans
    ("structure", "text", None, "name of the structure, unique within its line"),
    ("role", "text", None, "suspension, strain or terminal"),
    ("framing", "text", None, "the framing it carries"),
    ("order", "real", None, "position along the line, as given"),
    ("station_m", "real", "m", "ground distance along the line from its first structure"),
    ("base_elevation_m", "real", "m",
     "elevation of the base; null where neither the structure nor the ground gives it"),
    ("line_angle_deg", "real", "deg", "turn of the line at the structure, positive to the right"),
    ("crossarm_azimuth_deg", "real", "deg",
     "direction in which the right end of the crossarm points, clockwise from grid north"),
    ("from_structure", "text", None, "structure at which the span begins"),
    ("to_structure", "text", None, "structure at which the span ends"),
    ("length_m", "real", "m", "ground distance between the centres of its two structures"),
    ("rise_m", "real", "m", "base elevation at the end less that at the start"),
    ("ground_factor", "real", None, "ground length over length in the grid of the layer"),
    # wires
    ("wire_kind", "text", None, "phase or shield"),
    ("kind", "text", None, "phase or shield"),
    ("circuit", "text", None, "circuit the wire belongs to"),
    ("ruling_span_m", "real", "m", "the one span that changes tension as the section does"),
    ("horizontal_tension_n", "real", "N",
     "horizontal component of the tension in one wire (across the load, where wind swings the "
     "wire); where it is not known what loads have come, at the end of its history at which it hangs lower, in "
     "clearances at that of which the margin is"),
    ("maximum_tension_n", "real", "N", "maximum tension in one wire, at its higher end; where it is not known what "
     "loads have come, the greater of both ends of its history"),
    ("percent_rts", "real", "%", "maximum tension as a share of the rated tensile strength"),
    ("condition", "text", None, "initial or final"),
    ("governing_limit", "text", None, "the stringing limit that sets the tension of the section"),
    ("catenary_constant_m", "real", "m", "horizontal tension over load per length"),
    ("temperature_c", "real", "°C", "temperature of the wire"),
    ("knee_temperature_c", "real", "°C",
     "temperature above which the core alone carries the tension; null where there is none"),
    ("knee_low_c", "real", "°C", "the same at the low end of the band of compression"),
    ("knee_high_c", "real", "°C", "the same at the high end of the band of compression"),
    ("outer_set", "real", None, "permanent strain of the outer part in the final condition"),
    ("core_set", "real", None, "permanent strain of the core in the final condition"),
    ("set_by", "text", None,
     "what makes the outer part's set: load (the heaviest case), creep, pretension, stringing (gap "
     "type), or given; null where there is none"),
    ("unstressed_length_factor", "real", None, "length of the unstressed wire over that of the section"),
    ("load_n_per_m", "real", "N/m", "weight, ice and wind on the wire, resultant, with the constant of the "
     "code where the case has one"),
    ("residual", "real", None, "what the solution leaves of the equation of state, as strain"),
    ("sag_m", "real", "m",
     "maximum drop of the wire below its chord, measured along the load: vertically in still "
     "air; where it is not known what loads have come, the greater of both ends of its history"),
    ("conductor_temperature_c", "real", "°C", "temperature of the wire in the case"),
    ("swing_deg", "real", "deg", "angle of the wire from the vertical under wind; 0 in still air"),
    ("low_point_m", "real", "m",
     "distance of the lowest point of the curve from the start of the span; below 0 or beyond "
     "the span where the wire only rises or only falls"),
    ("method", "text", None, "equilibrium: the exact state of the section; ruling span: one tension for all of it"),
    ("ruling_span_sag_m", "real", "m", "the sag that the ruling span gives, for comparison"),
    ("ruling_span_difference_m", "real", "m", "sag less that of the ruling span: positive where the ruling span is on "
     "the unsafe side"),
    ("wind_side", "text", None, "side to which the wind blows the wire, left or right of the line; null in still air"),
    # clearances
    ("rule", "text", None, "the rule that requires the clearance"),
    ("measure", "text", None, "vertical, horizontal or radial"),
    ("base_m", "real", "m", "basic clearance of the rule"),
    ("voltage_adder_m", "real", "m", "what the voltage adds"),
    ("altitude_adder_m", "real", "m", "what the altitude adds"),
    ("minimum_raise_m", "real", "m", "what the minimum clearance of the rule adds, where it governs"),
    ("buffer_m", "real", "m", "what the owner adds for uncertainty"),
    ("required_m", "real", "m", "required clearance: base, adders, raise and buffer together"),
    ("actual_m", "real", "m", "clearance of the wire, by the measure"),
    ("margin_m", "real", "m", "actual less required; negative: a violation"),
    ("margin_low_m", "real", "m",
     "minimum margin at this place as what is in doubt goes through its band: the compression of the slack outer part, "
     "loads that may never have come, estimated curves; a swung wire moves at the swing of the margin, beside what is "
     "there; null of own wires among each other, for both move"),
    ("margin_high_m", "real", "m", "maximum margin at this place, likewise"),
    ("distance_from_start_m", "real", "m", "ground distance of the place from the start of the span"),
    ("offset_m", "real", "m", "ground distance of the place right of the line; negative to the left"),
    ("wire_elevation_m", "real", "m", "elevation of the wire at the place"),
    ("other_elevation_m", "real", "m", "elevation of the ground or of the obstacle at the place"),
    ("position", "text", None, "where the wire is from the other thing: above, below or beside; falling: a tree falls"),
    ("severity", "text", None,
     "flashover: nearer, in space, than the electrical distance; rule: short of the rule; buffer: the rule is met, "
     "the buffer is not"),
    ("inherited", "boolean", None,
     "true where the existing wire has the violation, too; null where no option is existing"),
    ("worst_margin_m", "real", "m", "minimum margin"),
    ("reason", "text", None, "why it could not be assessed"),
    # limits and options
    ("limit_temperature_c", "real", "°C",
     "what the span allows: the clearing temperature, or the maximum temperature of the option where that is "
     "less; null where no temperature clears, and where it is not known"),
    ("clearing_temperature_c", "real", "°C",
     "conductor temperature at which the minimum margin of the span is zero, of all measures; null where the wire "
     "clears at the maximum temperature of the option, where no temperature clears, and where it is not known"),
    ("governs", "text", None,
     "what sets the limit: clearance, maximum temperature, no temperature clears, or not assessed; "
     "with `ice` in it where the span has a violation under ice, which no temperature helps: ice (the "
     "hot wire clears), clearance and ice (neither)"),
    ("limit_current_a", "real", "A", "continuous current that brings the wire to that temperature"),
    ("maximum_temperature_c", "real", "°C", "maximum continuous temperature of the option"),
    ("emergency_temperature_c", "real", "°C", "temperature of the option in an emergency"),
    ("governing_against", "text", None, "what sets the limit"),
    ("governing_obstacle", "text", None, "the obstacle that sets the limit"),
    ("governing_measure", "text", None, "the distance that sets the limit: vertical, horizontal or radial"),
    ("governing_case", "text", None, "the case that sets the limit"),
    ("emergency_limit_temperature_c", "real", "°C",
     "the same in the cases at the emergency temperature, no more than that; null where there is none"),
    ("emergency_limit_current_a", "real", "A", "continuous current that brings the wire to that temperature"),
    ("emergency_limiting_span", "text", None,
     "span that sets that limit; null where the option's emergency temperature does, or no case looks at it"),
    ("emergency_governs", "text", None,
     "what sets that limit, in the words of `governs`; null where the option has no emergency temperature, or the "
     "study no case at it"),
    ("left_out", "text", None, "what does not count in the limit: what is near and no rule is for, and other "
     "lines that wires pass below, which they come nearer to as they cool"),
    ("governing_wire", "text", None, "the wire that sets the limit"),
    ("conductor", "text", None, "designation of the conductor"),
    ("conductor_source", "text", None, "where the catalogue has it from"),
    ("conductor_confidence", "text", None, "how its numbers are known: read, or recalled and how surely"),
    ("existing", "boolean", None, "true for the existing wire"),
    ("diameter_m", "real", "m", "outside diameter of one wire"),
    ("mass_kg_per_m", "real", "kg/m", "mass of one wire"),
    ("rated_strength_n", "real", "N", "rated tensile strength (RTS) of one wire"),
    ("continuous_current_a", "real", "A", "current per phase at the maximum temperature"),
    ("emergency_current_a", "real", "A", "current per phase at the emergency temperature"),
    ("short_time_current_a", "real", "A",
     "current per phase that brings the wire from the pre-load to the emergency temperature just when "
     "the emergency of the study ends; null where it has none"),
    ("core_excess_k", "real", "K",
     "how much hotter the core is than the surface at the continuous current, for the radial "
     "conductivity of the study, or 0.7 W/m/K where it gives none"),
    ("required_current_a", "real", "A", "current per phase that the study asks for"),
    ("temperature_at_required_current_c", "real", "°C", "temperature at which the wire carries it"),
    ("loss_at_required_current_w_per_m", "real", "W/m", "resistive loss of the three phases at it"),
    ("loss_at_continuous_w_per_m", "real", "W/m", "resistive loss of the three phases at the continuous current"),
    ("spans_fixed", "integer", None, "number of the line's worst spans that are remedied"),
    ("fixed_span", "text", None, "the span remedied last; null in the first step"),
    ("limiting_span", "text", None, "the span that sets the limit now, or that has a violation at the emergency "
     "temperature alone; null where none does"),
    ("note", "text", None, "what to know of the value"),
    ("clearances", "integer", None, "pairs checked: rows of `clearances`"),
    ("violations", "integer", None, "rows of `violations`"),
    ("not_assessed", "integer", None, "rows of `not_assessed`: none of them is a pass"),
    ("worst_line", "text", None, "line of the minimum margin"),
    ("worst_span", "text", None, "span of the minimum margin"),
    ("worst_case", "text", None, "case of the minimum margin"),
    ("worst_against", "text", None, "what the minimum margin is against"),
    ("greatest_sag_m", "real", "m", "maximum sag of any span and case"),
    ("greatest_percent_rts", "real", "%", "maximum tension of any section and case"),
)


def make_layer(name, geometry, doc, columns, *, own=(), **docs):
    """Make a layer of known fields, and `own` ones; `!` marks required ones, `docs` replaces what a field means."""
    known = _FIELDS | _columns(*own)

    def column(word):
        field = known[word.rstrip("!")]
        return replace(field, required=word.endswith("!"), doc=docs.get(field.name, field.doc))

    return Layer(name, geometry, doc, tuple(column(word) for word in columns.split()))


_CLEARANCE = """line! span! section wire! option! case! against! obstacle rule! measure! base_m
    voltage_adder_m altitude_adder_m minimum_raise_m buffer_m required_m! actual_m! margin_m! margin_low_m margin_high_m
    margin_sd_m probability_short largest_share
    station_m distance_from_start_m offset_m wire_elevation_m other_elevation_m
    conductor_temperature_c horizontal_tension_n catenary_constant_m position other_state broken_span points bundle_m
    rule_confidence rule_edition """
_PLACE = "station of the place along the line"

#: The layers, in the order in which they stand in the file.
LAYERS = (
    make_layer(
        "structures", "Point Z", "One row per structure, at its base.",
        """line! structure! role framing order station_m base_elevation_m line_angle_deg
        crossarm_azimuth_deg"""),
    make_layer(
        "spans", "LineString Z", "One row per span: the chord between the bases of its structures.",
        "line! span! section from_structure to_structure length_m rise_m ground_factor"),
    make_layer(
        "sections", None,
        "One row per stringing section, kind of wire, option and case: the tension it hangs at.",
        """line! section! wire_kind option! case! ruling_span_m horizontal_tension_n
        maximum_tension_n percent_rts condition governing_limit catenary_constant_m temperature_c
        knee_temperature_c knee_low_c knee_high_c outer_set core_set set_by
        unstressed_length_factor load_n_per_m residual"""),
    make_layer(
        "wires", "LineString Z",
        "One row per span, wire, option and case: the wire in space.",
        """line! span! section wire! kind circuit option! case! sag_m horizontal_tension_n
        maximum_tension_n percent_rts conductor_temperature_c condition swing_deg
        catenary_constant_m length_m low_point_m wind_side method lifted! broken_span
        ruling_span_sag_m ruling_span_difference_m""",
        length_m="length of the wire along its curve", lifted="true where it has lifted a string at one of its ends"),
    make_layer(
        "clearances", "Point Z",
        "One row per span, option, case, thing protected and obstacle, passed or failed: the worst "
        "wire and place. The point is on the wire.", _CLEARANCE, station_m=_PLACE),
    make_layer(
        "violations", "Point Z", "One row per clearance with a negative margin.",
        _CLEARANCE + "severity! inherited", station_m=_PLACE),
    make_layer(
        "violation_stretches", "LineString Z",
        "One row per connected stretch of wire in violation.",
        "option! case! line! span! wire! against! obstacle length_m worst_margin_m!",
        length_m="ground length of the stretch"),
    make_layer("swing_envelopes", "Polygon", *fields.ENVELOPES),
    make_layer("parcels", "MultiPolygon", *fields.PARCELS),
    make_layer("structure_loads", "Point Z", *fields.LOADS),
    make_layer("structure_capacity", "Point Z", *fields.CAPACITY),
    make_layer("clipping_offsets", None, *fields.CLIPPING),
    make_layer("point_clouds", None, *fields.CLOUDS),
    make_layer(
        "limits", "LineString Z",
        "One row per span and option: how hot the wire may get before there is a violation. The chord of "
        "the span.",
        """line! span! section option! limit_temperature_c limit_current_a maximum_temperature_c
        clearing_temperature_c governs governing_against governing_obstacle governing_measure governing_case
        governing_wire station_m emergency_limit_temperature_c emergency_limit_current_a emergency_governs
        left_out""",
        station_m=_PLACE + " that sets the limit"),
    make_layer("fields", "LineString Z", *fields.ELECTRIC, **fields.ELECTRIC_MEANINGS),
    make_layer(
        "ladder", None,
        "One row per line, option and number of spans remedied, worst first: what the line carries "
        "then. The last step is the maximum temperature of the option. A span that was not assessed "
        "may be the worst of all: such spans come first, and the limit is null until they are put "
        "right. Beside the continuous limit stands that of an emergency, by the cases at the "
        "emergency temperature.",
        """line! option! spans_fixed! fixed_span limiting_span limit_temperature_c limit_current_a
        emergency_limit_temperature_c emergency_limit_current_a emergency_limiting_span note""",
        limit_temperature_c="temperature of the wire that sets the limit; null where none clears",
        limit_current_a="continuous current per phase of the line",
        emergency_limit_temperature_c="maximum temperature in an emergency at which the line clears; null where it "
        "is not known, none clears, or no case looks at it",
        emergency_limit_current_a="steady current per phase that brings the wire to that temperature"),
    make_layer(
        "not_assessed", "LineString Z",
        "One row per thing that should have been checked and could not be. None is a pass. The "
        "chord of the span, null where no span is known.",
        "option case line span wire against obstacle reason!"),
    make_layer("surveyed_wires", *survey_fields.SURVEYED_WIRES, **survey_fields.SURVEYED_MEANINGS),
    make_layer("surveyed_spans", *survey_fields.SURVEYED_SPANS, **survey_fields.SURVEYED_MEANINGS | {
        "sag_difference_m": "the maximum of its wires that are used: positive where one hangs lower than described"}),
    make_layer("doubts", *fields.DOUBTS, **fields.DOUBT_MEANINGS),
    make_layer(
        "options", None, "One row per option: what compares them.",
        """option! conductor! conductor_source conductor_confidence existing
        bundle bundle_spacing_m bundle_arrangement diameter_m mass_kg_per_m
        rated_strength_n maximum_temperature_c emergency_temperature_c continuous_current_a emergency_current_a
        short_time_current_a required_current_a temperature_at_required_current_c
        loss_at_required_current_w_per_m loss_at_continuous_w_per_m core_excess_k clearances
        violations! not_assessed! expected_violations probability_clear
        worst_margin_m worst_line worst_span worst_case worst_against
        greatest_sag_m greatest_percent_rts """ + fields.OF_OPTIONS),
    make_layer("uncertainty", None, *fields.UNCERTAINTY, **fields.UNCERTAINTY_MEANINGS),
    make_layer(
        "run", None, "One row: what was run on what, when, and what to be careful of.",
        """software_version! study! study_digest! inputs! frame vertical_datum vertical_unit time!
        warnings cautions assumptions layer_digests"""),
    make_layer(
        "inputs", None, "One row per file that was read.",
        """part path! source_layer digest! crs vertical_crs unit features features_left_out features_near
        features_compared"""),
)

_TERMS = "base_m + voltage_adder_m + altitude_adder_m + minimum_raise_m + buffer_m"

#: What must hold of finished findings: a sentence, and the SQL that counts what breaks it.
INVARIANTS = (
    ("`margin_m` is `actual_m` less `required_m`",
     "SELECT count(*) FROM clearances WHERE abs(actual_m - required_m - margin_m) > 1e-6"),
    ("the terms of a requirement add up to `required_m`",
     f"SELECT count(*) FROM clearances WHERE abs({_TERMS} - required_m) > 1e-6"),
    ("every clearance with a negative margin is a violation, and nothing else is",
     """SELECT abs((SELECT count(*) FROM clearances WHERE margin_m < 0)
     - (SELECT count(*) FROM violations WHERE margin_m < 0))
     + (SELECT count(*) FROM violations WHERE margin_m >= 0)"""),
    ("every option counts its own violations",
     """SELECT count(*) FROM options o LEFT JOIN
     (SELECT "option", count(*) AS n FROM violations GROUP BY "option") v USING ("option")
     WHERE o.violations <> coalesce(v.n, 0)"""),
)


def layer(name):
    """Return the layer of that name; KeyError where there is none."""
    return {each.name: each for each in LAYERS}[name]


_PREFACE = """# The findings: layers and columns

*Made from `corridor/outputs/schema.py`; a test fails where the two differ.*

The findings are one GeoPackage (OGC 12-128r17, version 1.3), or one folder of GeoParquet files (version 1.1.0) where
the name ends in `.parquet`. Layers stand in this order, though a
GIS lists the plain tables last, and open styled. Lengths and elevations are in m, elevations
above the datum of the ground raster, tensions in N, temperatures in °C, currents in A, times in
UTC. Distances are ground distances; coordinates are those of the grid that `run.frame` names.
`line`, `span`, `section`, `wire`, `option` and `case` are the keys everywhere.

What was checked is in `clearances`, passed or failed. What should have been checked and could not
be is in `not_assessed`. **A null is never a pass**: a number that is not known is null, and a
check whose margin is not known is a row of `not_assessed`. Columns marked * are never null. A
point or chord whose elevation is not known has NaN for its Z.

A folder has one file per layer, `clearances.parquet`. Of a study of several lines a layer whose rows are all of a line
is a folder of that name, with the files of each line in `line=<name>` and no column `line` within: name the type of it
where all lines have numbers for names, which readers take for numbers. Every file has two columns more: `fid`, the
number of the row, as in the GeoPackage, and `bbox`, the extent of its place, by which readers skip what lies elsewhere.
All commands take either but `export --kind qgs`; looks are in the GeoPackage alone.

    import geopandas
    geopandas.read_parquet("findings.parquet/violations.parquet")
    -- DuckDB
    SELECT line, min(margin_m) FROM read_parquet('findings.parquet/violations.parquet/**/*.parquet',
        hive_partitioning = true, hive_types = {'line': VARCHAR}) GROUP BY line;

Before the file or folder gets its name, the writer makes sure of the following; where it does not hold, no
file is written and that is an error:

"""


def reference_of(item):
    """Return what a layer is and what is in it, as Markdown."""
    kind = f"Geometry: {item.geometry}." if item.geometry else "A plain table, without geometry."
    rows = [f"| `{c.name}`{' *' if c.required else ''} | {c.type} | {c.unit or ''} | {c.doc} |"
            for c in item.columns]
    head = ["| column | type | unit | meaning |", "| --- | --- | --- | --- |"]
    return "\n".join([f"## {item.name}", "", f"{item.doc} {kind}", "", *head, *rows, ""])


def write_reference(path):
    """Write the reference page of the findings.

    Parameters
    ----------
    path : path
        Markdown file to write or replace.
    """
    promises = "".join(f"- {sentence};\n" for sentence, _ in INVARIANTS)
    promises += "- every row handed over is in the file, and SQLite finds it undamaged.\n\n"
    text = _PREFACE + promises + "\n".join(map(reference_of, LAYERS))
    Path(path).write_text(text, encoding="utf-8")
