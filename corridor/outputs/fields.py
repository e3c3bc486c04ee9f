"""Columns and layers of single features, for the schema: what each is, its columns, and what these mean."""

__all__ = ["CAPACITY", "CLIPPING", "CLOUDS", "DOUBTS", "DOUBT_MEANINGS", "ELECTRIC", "ELECTRIC_MEANINGS", "ENVELOPES",
           "FIELDS", "LOADS", "OF_OPTIONS", "PARCELS"]

FIELDS = (
    # bundles
    ("bundle", "integer", None, "wires per phase"),
    ("bundle_spacing_m", "real", "m", "distance of neighbouring wires of a phase, as given or assumed; null of one "
     "wire"),
    ("bundle_arrangement", "text", None, "how the wires of a phase lie; null where that is not given, and of one wire"),
    ("bundle_m", "real", "m", "how far the nearest wire of the bundle is taken to be from its middle in this measure, "
     "which is taken off `actual_m` already; of two bundles both; 0 of single wires; null at a rounded corner, where "
     "it counts down and aside"),
    # clipping offsets
    ("sag_section", "text", None, "the spans that are in travellers together, from structure to structure"),
    ("clipping_offset_m", "real", "m",
     "along the wire, from its point on the sheave to the clamp, positive towards the end of the line; null where "
     "strings do not hang in this state"),
    ("traveller_lean_m", "real", "m",
     "how far the sheave hangs from plumb along the line, positive towards its end; null likewise, and where a sag "
     "section ends: the wire is anchored there"),
    ("back_tension_n", "real", "N", "horizontal tension in travellers of the span before the structure"),
    ("ahead_tension_n", "real", "N", "horizontal tension in travellers of the span after it"),
    # point clouds
    ("cloud", "text", None, "name of the point cloud in the study, or surface"),
    ("points", "integer", None,
     "surveyed points, or cells of the surface that stand: of a cloud and span those that were read, of a clearance "
     "those nearer than required, 0 where the obstacle is no cluster of them"),
    ("compared", "integer", None, "points of the groups that are compared with the wires"),
    ("own_points", "integer", None, "points left out as of our own wires and structures"),
    ("own_near", "integer", None,
     "of those left out as our own, how many are nearer to a wire than the strictest rule of any group allows, in any "
     "option: all but points of a wire or a structure are things that should have been compared"),
    ("passed", "integer", None, "points of classes that nothing is compared with: ground, noise, cells cleared"),
    ("unknown", "integer", None, "points of classes that the study does not know"),
    ("too_near", "integer", None,
     "points nearer to a wire than required, in whichever option, case and measure has most of each cluster"),
    # doubts about the data
    ("doubt", "text", None, "what kind of doubt it is, by its name in docs/doubts.md"),
    ("subject", "text", None, "what is doubtful"),
    ("file", "text", None, "the file, as the study names it"),
    ("feature", "text", None, "the feature, row, layer or key it is about"),
    ("found", "text", None, "what stands there"),
    ("expected", "text", None, "what was expected"),
    ("advice", "text", None, "what to do"),
    ("accepted", "boolean", None, "whether the study accepts it ([[accepted]]): it does not count then"),
    # reactance, electric field and what it induces
    ("mean_distance_m", "real", "m", "geometric mean distance of the three phases of a circuit at mid-span, along its "
     "line; of several circuits the highest. Null where a circuit has not three phase wires"),
    ("mean_radius_m", "real", "m", "geometric mean radius of a phase: of its wire, or of its bundle; null where the "
     "spacing of the bundle is not given, and of one layer over steel"),
    ("reactance_ohm_per_km", "real", "ohm/km", "series reactance of the positive sequence, of a transposed line"),
    ("voltage_drop_v_per_km", "real", "V/km", "voltage drop, line to line, at the required current and at the power "
     "factor at which it is highest: current times impedance"),
    ("reactance_note", "text", None, "where the mean radius is from, and what is not known"),
    ("lowest_height_m", "real", "m", "height of the lowest phase wire above the ground, where it is least"),
    ("field_kv_per_m", "real", "kV/m", "maximum electric field 1 m above the ground across the line there, effective "
     "value, at the highest system voltage; of several circuits in the worst order of their phases"),
    ("field_offset_m", "real", "m", "where it is highest, right of the line; negative to the left"),
    ("surface_gradient_kv_per_cm", "real", "kV/cm", "maximum field at the surface of a phase wire there, effective "
     "value, of smooth wires; of a bundle at its outer side"),
    ("gradient_wire", "text", None, "the wire at which that is"),
    ("field_note", "text", None, "what was left out"),
    ("vehicle", "text", None, "the largest vehicle: a box of metal of its size"),
    ("vehicle_current_ma", "real", "mA", "current from that vehicle to the ground, effective value, in the maximum "
     "field; handbook values of real vehicles are 15 to 25 % lower"),
    ("vehicle_limit_ma", "real", "mA", "what the rules allow; null where they do not ask for it"),
    ("above_limit", "boolean", None, "true where the current is above that; null where it is not judged"),
    # loads on structures
    ("section_side", "text", None, "at a strain structure: whether the section leads ahead of it or back; null where "
     "the wire runs through"),
    ("vertical_n", "real", "N", "pull of the wire on the structure downward, string included; negative lifts. At "
     "a lifted string: what would hold it down. Where it is not known what loads a wire has seen, vertical, transverse "
     "and longitudinal pull are those at the end of its history at which they are greater together, or where uplift is "
     "true the vertical one less; shares, ratios, uplift and swings are the worst of both ends"),
    ("transverse_n", "real", "N", "pull along the crossarm, positive to the right of the line"),
    ("longitudinal_n", "real", "N", "pull along the line, positive ahead; with a broken wire that of what is left "
     "of it, at rest, without the jerk"),
    ("wind_span_m", "real", "m", "length of wire whose wind the structure carries"),
    ("weight_span_m", "real", "m", "length of wire whose weight the structure carries, in this case; null where spans "
     "are looked at in states of their own"),
    ("string_swing_deg", "real", "deg", "swing of the string across the line, positive to the right; null where "
     "held, where it is lifted, and in cases with a broken wire"),
    ("uplift", "boolean", None, "true where the wire pulls a suspension string down by less than half of its weight, "
     "or lifts it; not of one that hangs beside a break"),
    ("ratio_vertical", "real", None, "vertical pull over that of the existing wire in its own worst case; of the "
     "existing wire the less of what it may have pulled, save beside itself"),
    ("ratio_transverse", "real", None, "transverse pull, likewise"),
    ("ratio_longitudinal", "real", None, "longitudinal pull, likewise; where the wire runs through, the horizontal "
     "tension of its tighter span, for there the structure is made for a wire that breaks; in cases with a broken "
     "wire the pull itself"),
    ("ratio_to_existing", "real", None, "maximum of the three; null where no option is existing"),
    ("above_existing", "boolean", None, "true where it is above 1.00: not a structural design, a reason to make one"),
    ("lifted", "boolean", None, "true where the wire has lifted a suspension string: it hangs slack, or above "
     "its hinge"),
    ("of_capacity_vertical", "real", None, "vertical pull with its load factors over the capacity with its strength "
     "factor; null where no capacity is given"),
    ("of_capacity_transverse", "real", None, "transverse pull, likewise"),
    ("of_capacity_longitudinal", "real", None, "longitudinal pull, likewise; of wires that are whole, but in cases "
     "with a broken wire"),
    ("of_capacity", "real", None, "maximum of the three that are given"),
    ("over_capacity", "boolean", None, "true where it is above 1.00; null where no capacity is given, or the load is "
     "not known: that is never a pass"),
    ("capacity", "text", None, "what has least to spare, load with factors and capacity; or that none is given; and "
     "whether wires change there"),
    ("load_factors", "text", None, "factors on the loads of this case, and where they are from"),
    ("factored_vertical_n", "real", "N", "vertical pull of all wires with its load factors, of either side of the wind "
     "the greater, each wire at the end of its history that makes more of it; in cases with a broken wire of those in "
     "which one is, or none, the maximum"),
    ("factored_transverse_n", "real", "N", "transverse pull of all wires, likewise"),
    ("factored_longitudinal_n", "real", "N", "longitudinal pull of all wires, likewise"),
    ("swing_left_deg", "real", "deg", "maximum swing of the string to the left, over wind from either side; negative "
     "where it stays to the right; null where it does not swing, and where it is lifted"),
    ("swing_right_deg", "real", "deg", "likewise to the right"),
    ("swing_more_deg", "real", "deg", "by how much the greater of both is more than that of the existing wire on the "
     "same string in the same case"),
    ("swing_limit_deg", "real", "deg", "maximum swing that the framing allows; null where it does not say"),
    ("vee_load_deg", "real", "deg", "maximum angle of the load of a V-string from the vertical across the line, over "
     "wind from either side, at the wire; null of other strings, and where it is lifted"),
    ("vee_arms", "text", None, "of a V-string: taut; slack: an arm does not pull, for the load does not point between "
     "both, so where the wire hangs is not known; not given: the framing gives no `vee_angle`, they are taken as taut; "
     "null of other strings, and where the load is not known"),
    ("body_m", "real", "m", "minimum distance of the wire, or its bundle, from the body of the structure, by the "
     "window of the framing; null where that is not given"),
    ("body_side", "text", None, "where that is: left, right, below or above of where the string hangs"),
    ("body_rule", "text", None, "the rule against `own_structure`, or electrical distance"),
    ("body_required_m", "real", "m", "distance that it requires"),
    ("body_margin_m", "real", "m", "the one less the other"),
    ("at_structure", "text", None, "passed; failed: over the limit, or too near; not given: neither window nor limit, "
     "so not looked at; not assessed; null of wires that are held or earthed, and in cases that ask for tension alone "
     "or have a broken wire"),
    # how far a rule can be trusted
    ("rule_confidence", "text", None, "how the number of the rule is known: read in its source, or recalled and how "
     "surely, and so of the electrical distance that it counts in; null where the table does not say, and for an edge "
     "or ellipses that no rule is for"),
    ("rule_edition", "text", None, "edition of the code that the rule is from; null likewise"),
    # how sure margins are
    ("margin_sd_m", "real", "m", "standard deviation of the margin by that of the inputs (layer `uncertainty`), in "
     "first order or of draws; null where the study does not ask for it, and of own wires among each other"),
    ("probability_short", "real", None, "how likely the margin is negative: an aid to order the work, what flags a "
     "violation is the margin alone; null likewise"),
    ("largest_share", "text", None, "the input with the largest share of the variance in first order; null likewise"),
    ("expected_violations", "real", None, "sum of `probability_short`, and one for each violation without it; what is "
     "not assessed is not in it"),
    ("probability_clear", "real", None, "how likely no margin of the option is negative, errors that are common "
     "to rows being one; null where anything is not assessed, or a margin has no deviation: it is not known"),
    ("input", "text", None, "the input, as `[uncertainty]` of the study names it"),
    ("sd", "real", None, "its standard deviation; null where each conductor has its own"),
    ("common", "text", None, "what has one error of it in common"),
    ("source", "text", None, "where that is from; assumed: the study does not say"),
    ("share", "real", None, "its mean share of the variance of margins within three standard deviations of zero; null "
     "where there is none"),
    # the run and its inputs
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
    ("assumptions", "text", None, "what the study assumes and nobody has confirmed, one per line; null where "
     "nothing is"),
    ("cautions", "text", None, "what these findings are not good for, one per line"),
    ("part", "text", None, "the key of the study that names the file"),
    ("path", "text", None, "the file, as the study names it"),
    ("source_layer", "text", None, "layer within the file"),
    ("digest", "text", None, "SHA-256 of the file"),
    ("crs", "text", None, "its coordinate reference system"),
    ("vertical_crs", "text", None, "its vertical reference system; null where the file does not say"),
    ("unit", "text", None, "unit its elevations were read in, and those of numbers in columns"),
    ("features", "real", None, "features of a layer of obstacles, of the rows that count; of several that are one, all "
     "of them together"),
    ("features_left_out", "real", None, "rows of structures or obstacles that `where` of the study leaves out: nothing "
     "is compared with them"),
    ("features_near", "real", None, "those within 500 m of boxes about the spans: the others are not looked at"),
    ("features_compared", "real", None, "those with a row in `clearances`"),
    # swing envelopes and parcels
    ("other_state", "text", None, "how the other wire was taken to hang, where it is a wire whose state is computed or "
     "assumed, or one of the same structures; null else"),
    ("broken_span", "text", None, "the span in which the wire is broken; null where it is whole, as in cases with a "
     "broken wire where the section ends beside the span"),
    ("reach_left_m", "real", "m", "how far any wire gets left of the line between structure centres"),
    ("reach_right_m", "real", "m", "how far any wire gets right of it"),
    ("room_left_m", "real", "m",
     "minimum distance from any wire blown to the left to the edge of the right-of-way, negative outside; null where "
     "there is none"),
    ("room_right_m", "real", "m", "likewise of any wire blown to the right"),
    ("parcel", "text", None, "the parcel, `<name in the study>:<its identifier>`"),
    ("overlap_m2", "real", "m²", "ground area of the parcel below the envelope"),
    ("distance_m", "real", "m", "minimum ground distance from the envelope to the parcel in plan; 0 where over it"),
    ("area_m2", "real", "m²", "ground area of the envelope"),
    ("area_outside_m2", "real", "m²", "ground area of it outside of the right-of-way; null where there is none"),
)

#: What the layer is, and its columns.
CLIPPING = (
    "One row per structure that a new phase wire runs through, wire and option: where its clamp goes for strings to be "
    "plumb, when its sag section lies in travellers without friction at the stringing temperature. None for the "
    "existing wire, nor by the ruling span. All findings of a new wire start from here: its spans keep the wire that "
    "they were clipped in with.",
    """line! structure! wire! section! sag_section! option! temperature_c horizontal_tension_n clipping_offset_m
    traveller_lean_m back_tension_n ahead_tension_n""")

#: What the layer is, and its columns.
CLOUDS = (
    "One row per span and point cloud, and one for the surface, whose points are its cells that stand: what became of "
    "the points within reach of the span. Near a structure the same points count for both of its spans.",
    "line! span! cloud! points! compared! own_points! own_near! passed! unknown! too_near!")

#: Geometry, what a row is, and its columns.
DOUBTS = (
    "Point Z",
    "One row per doubt about the data, or per group of features that are doubtful alike; where it has a place. "
    "A serious one that the study does not accept keeps a run from being clear.",
    "doubt! severity! subject! file! feature found! expected! advice! accepted! reason")

#: What fields of other layers mean there.
DOUBT_MEANINGS = {"severity": "serious: it could hide a violation; minor: it could not",
                  "reason": "why the study accepts it; null where it does not"}

#: Columns of the layer `options`.
OF_OPTIONS = "mean_distance_m mean_radius_m reactance_ohm_per_km voltage_drop_v_per_km reactance_note"

#: What the layer is, and its columns.
ELECTRIC = (
    "One row per span and option: the electric field below the wires, where they come nearest to the ground in the "
    "case at the maximum temperature, and what it does. The chord of the span. Wires count as long and parallel over "
    "level ground, those of other lines not at all. Information, but for `above_limit`.",
    """line! span! section option! case conductor_temperature_c wire lowest_height_m station_m distance_from_start_m
    field_kv_per_m field_offset_m surface_gradient_kv_per_cm gradient_wire field_note vehicle vehicle_current_ma
    vehicle_limit_ma above_limit rule rule_confidence rule_edition reason""")

#: What fields of other layers mean there.
ELECTRIC_MEANINGS = {"wire": "the lowest phase wire", "reason": "why the field is not known; null where it is",
                     "rule": "the rule that limits the current; null where none does",
                     "station_m": "station of the place along the line"}

#: What the layer is, and its columns.
LOADS = (
    "One row per structure, wire, section, option and case: what the wire does to the structure, beside what the "
    "existing wire does, not a structural design; and what wire and string clear of it.",
    """line! structure! role wire! section section_side option! case! vertical_n! transverse_n longitudinal_n
    wind_span_m weight_span_m string_swing_deg uplift lifted! ratio_vertical ratio_transverse ratio_longitudinal
    ratio_to_existing above_existing of_capacity_vertical of_capacity_transverse of_capacity_longitudinal of_capacity
    over_capacity capacity! load_factors! swing_left_deg swing_right_deg swing_more_deg swing_limit_deg vee_load_deg
    vee_arms body_m body_side body_rule body_required_m body_margin_m at_structure""")

#: The layer of loads on structures as a whole, and its columns.
CAPACITY = (
    "One row per structure whose capacity as a whole is given, or at which the wires of a mix change, option and case: "
    "all wires together, with their load factors, beside it. The structure's own weight and the wind on it are not in "
    "the loads. Not a structural design.",
    """line! structure! role framing option! case! factored_vertical_n factored_transverse_n factored_longitudinal_n
    of_capacity_vertical of_capacity_transverse of_capacity_longitudinal of_capacity over_capacity capacity!
    load_factors!""")

#: What the layer is, and its columns.
ENVELOPES = (
    "One row per span, option and case with wind: in plan, the hull of all wires blown to both sides. A span with "
    "a wire that hangs nowhere has none.",
    "line! span! option! case! reach_left_m! reach_right_m! room_left_m room_right_m area_m2! area_outside_m2")

PARCELS = (
    "One row per span, option, case with wind and parcel (obstacles of the category `parcel`) within 30 m: what of it "
    "the swing envelope is over, and how far it stays from it. The geometry is the overlap, null where there is none.",
    "line! span! option! case! parcel! overlap_m2! distance_m!")

#: What the layer is, and its columns.
UNCERTAINTY = (
    "One row per option and input whose standard deviation is known or assumed, where the study asks how sure margins "
    "are: what it has to do with margins in doubt.",
    "option! input! sd unit common! source! share")

#: What fields of other layers mean there.
UNCERTAINTY_MEANINGS = {"unit": "of that; null of a share"}
