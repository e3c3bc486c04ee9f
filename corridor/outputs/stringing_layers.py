"""The layers and columns of `stringing.gpkg`: how new wires are put up."""

from pathlib import Path

from corridor.outputs.schema import make_layer, reference_of

__all__ = ["STRINGING_LAYERS", "write_reference"]

_OWN = (
    ("pull", "text", None, "what is pulled at a time, `<first>-<last>` structure"),
    ("puller_at", "text", None, "structure beyond which the puller stands"),
    ("tensioner_at", "text", None, "structure beyond which the tensioner stands"),
    ("puller_distance_m", "real", "m", "ground distance from that structure to the puller"),
    ("tensioner_distance_m", "real", "m", "likewise to the tensioner"),
    ("wires", "integer", None, "wires that are pulled: phases times subconductors"),
    ("travellers", "integer", None, "travellers that each wire runs over"),
    ("start_tension_n", "real", "N", "tension of a wire at the tensioner, the maximum of all wires"),
    ("end_tension_n", "real", "N", "likewise at the puller"),
    ("maximum_tension_n", "real", "N", "maximum tension of a wire anywhere while it is pulled"),
    ("allowed_tension_n", "real", "N", "maximum tension that it may be pulled with: what it is pulled with here"),
    ("allowed_by", "text", None, "what says so"),
    ("sagging_tension_n", "real", "N", "minimum horizontal tension that a section of it is sagged to, at the stringing "
     "temperature"),
    ("percent_of_sagging", "real", "%", "maximum tension while it is pulled as a share of that"),
    ("wire_length_m", "real", "m", "unstressed length of the longest wire, from the first structure to the last"),
    ("wire_needed_m", "real", "m", "length of all wires with the waste of the study"),
    ("reels", "integer", None, "reels of each wire; null where no reel length is given, or joints find no place"),
    ("joints", "text", None, "spans with joints, in the order of the line; null likewise"),
    ("minimum_height_m", "real", "m", "minimum height over the ground while it is pulled"),
    ("crossings", "integer", None, "roads, railways, waters and lines that it crosses"),
    ("hours", "real", "h", "work of the pull by the crew of the study; null where that is not given"),
    ("tension_at_start_n", "real", "N", "maximum tension of a wire at the start of the span while it is pulled"),
    ("tension_at_end_n", "real", "N", "likewise at its end"),
    ("height_m", "real", "m", "minimum height over the ground while it is pulled; null where the ground below any part "
     "of the span is not known"),
    ("turn_deg", "real", "deg", "angle by which a wire is bent over the traveller while it is pulled, the maximum"),
    ("traveller", "text", None, "`one`, or `two, or a larger one` where a wire is bent by more than one is for"),
    ("minimum_diameter_m", "real", "m", "minimum diameter of the traveller at the bottom of its groove, by the rules"),
    ("traveller_load_n", "real", "N", "maximum load of one wire on the traveller, pulled or snubbed"),
    ("pulling_down_n", "real", "N", "downward load of all wires while they are pulled, strings included by half"),
    ("pulling_right_n", "real", "N", "load of all wires to the right of the line while they are pulled"),
    ("pulling_ahead_n", "real", "N", "load of all wires along the line, ahead, while they are pulled"),
    ("snubbed_down_n", "real", "N", "downward load of all wires with the sagging tension, snubbed at the machines"),
    ("snubbed_right_n", "real", "N", "likewise to the right"),
    ("snubbed_ahead_n", "real", "N", "likewise ahead"),
    ("held_down", "boolean", None, "true where a wire lifts its traveller while it is pulled, so that it must be held "
     "down"),
    ("state", "text", None, "what is asked for"),
    ("separation_m", "real", "m", "minimum vertical distance from the wire while it is pulled; negative where it lies "
     "below; null where the thing's elevation is not known"),
    ("voltage_kv", "real", None, "voltage of a line, line to line [kV]"),
    ("reel", "integer", None, "number of the reel, the first at the puller"),
    ("reel_wire_m", "real", "m", "wire of it that is used, waste included"),
    ("joint_span", "text", None, "span in which the joint to the next reel hangs; null for the last reel"),
    ("joint_distance_m", "real", "m", "ground distance of that joint from the start of the span, to within its sag"),
    ("span_length_m", "real", "m", "ground distance between the structures"),
    ("wire_rise_m", "real", "m", "height of the wire's end above its start"),
    ("traveller_sag_m", "real", "m", "maximum drop below the chord in travellers: what to sag to, and how far below "
     "the wires' ends targets are set on both structures"),
    ("clipped_sag_m", "real", "m", "the same once it is clipped in"),
    ("traveller_tension_n", "real", "N", "horizontal tension in travellers"),
    ("sight_deg", "real", "deg", "angle of that line of sight, positive upwards"),
    ("base_sight_deg", "real", "deg", "angle of the line that touches the wire, seen 1.5 m above the base of the first "
     "structure; null where none does"),
    ("base_target_m", "real", "m", "how far below the wire's far end a target is set for that line"),
    ("return_3_s", "real", "s", "time after which a jerk is back for the third time, in travellers"),
    ("return_5_s", "real", "s", "likewise for the fifth time"),
    ("return_10_s", "real", "s", "likewise for the tenth time"),
    ("creep_sag_m", "real", "m", "sag to add for what a wire has crept in its travellers before it is sagged; null "
     "where the study gives no time, or no law of creep is known for such a wire"),
    ("tolerance_m", "real", "m", "tolerance of the sag in the control span"),
    ("control_span", "text", None, "span whose sag is watched"),
    ("margin_with_tolerance_m", "real", "m", "what is left of it if the wire is sagged wrong by the tolerance, to the "
     "worse side"),
    ("words", "text", None, "the same in words"),
    ("plumb_offset_m", "real", "m", "along the wire, from the plumb mark to the clamp, positive towards the end of the "
     "line"),
    ("wanted_sag_m", "real", "m", "sag that the wire should have at that temperature, clipped in"),
    ("take_out_m", "real", "m", "wire to take out of the section so that it hangs as wanted; negative: to let out"),
    ("most_sag_m", "real", "m", "most that the sag of a measured wire of the section is more than wanted"),
    ("minimum_sag_m", "real", "m", "minimum likewise; negative: less than wanted"),
    ("check", "text", None, "what must be ready"),
    ("value", "real", None, "what is there, in `unit`"),
    ("limit_value", "real", None, "what the rule says, in `unit`"),
    ("unit", "text", None, "unit of both"),
    ("source", "text", None, "where the rule is from, and how it is known"),
)
_MEANINGS = {
    "state": "`out`: a line that must be out of service, or a guard that its owner agrees to; `guard`: a guard "
    "structure or a watch; `clear`: below the wire, with nothing to do; `in the way`: reaches up to the wire",
    "line_angle_deg": "angle by which the wire is turned aside at the structure; 0 at the ends of a pull, where "
    "machines stand in line",
    "option": "name of the option of the study that is strung", "position": "where the wire is: above or below it",
}
_READINESS = {"state": "`passed`, `failed`, or `not given`: what was not given is not passed",
              "option": _MEANINGS["option"], "note": "what to do, or to know"}


def _layer(name, geometry, doc, columns, **meanings):
    return make_layer(name, geometry, doc, columns, own=_OWN, **_MEANINGS | meanings)


#: The layers, in the order in which they stand in the file.
STRINGING_LAYERS = (
    _layer(
        "installation", "Point Z", "One row per thing that must be ready, option, and structure or pull: passed, "
        "failed, or not given. At the structure, or the first of the pull.",
        "line! option! pull structure section check! state! value limit_value unit source note", **_READINESS),
    _layer(
        "pulls", "LineString Z", "One row per pull and option: from machine to machine, over the structures between.",
        """line! pull! option! length_m puller_at tensioner_at puller_distance_m tensioner_distance_m wires travellers
        start_tension_n end_tension_n maximum_tension_n percent_rts allowed_tension_n allowed_by sagging_tension_n
        percent_of_sagging wire_length_m wire_needed_m reels joints minimum_height_m crossings hours note""",
        length_m="ground length from the first structure to the last",
        percent_rts="maximum tension while it is pulled as a share of the rated tensile strength"),
    _layer(
        "pulled_spans", "LineString Z", "One row per span, option: its wires while they are pulled.",
        "line! span! pull! option! tension_at_start_n tension_at_end_n sag_m height_m note",
        sag_m="maximum sag of a wire while it is pulled"),
    _layer(
        "pull_crossings", "Point Z", "One row per span, option and thing that its wires cross while they are pulled. "
        "At the wire; at the middle of the span where its place is not known.",
        "line! span! pull! option! against! obstacle position separation_m state! voltage_kv wire station_m note"),
    _layer(
        "travellers", "Point Z", "One row per structure, pull and option: what its travellers and the structure carry.",
        """line! structure! pull! option! line_angle_deg turn_deg traveller minimum_diameter_m traveller_load_n
        pulling_down_n pulling_right_n pulling_ahead_n snubbed_down_n snubbed_right_n snubbed_ahead_n held_down
        note"""),
    _layer("reels", None, "One row per pull, option and reel of each wire.",
           "line! pull! option! reel! reel_wire_m joint_span joint_distance_m"),
    _layer(
        "control_spans", None, "One row per span whose sag is watched, option and wire temperature; of the first phase "
        "wire. Of a gap type twice: with the core alone in the first stage of tensioning, and as it is sagged in the "
        "end.",
        """line! section! span! wire! option! condition temperature_c! span_length_m wire_rise_m traveller_sag_m
        traveller_tension_n clipped_sag_m horizontal_tension_n creep_sag_m sight_deg base_sight_deg base_target_m
        return_3_s return_5_s return_10_s""", horizontal_tension_n="horizontal tension once it is clipped in",
        condition="initial; `core alone` in the first stage of a gap type; final for an existing wire"),
    _layer(
        "sag_tolerance", None, "One row per section and option: what the tolerance of sags may take from its margins. "
        "The row of the minimum margin that is left.",
        """line! section! option! control_span tolerance_m span against obstacle case margin_m
        margin_with_tolerance_m words"""),
    _layer(
        "clipping_marks", None, "One row per structure, wire and option: where the clamp goes, from the plumb mark on "
        "the wire as it lies in travellers.",
        """line! structure! wire! section! sag_section! option! temperature_c plumb_offset_m clipping_offset_m
        traveller_lean_m"""),
    _layer(
        "as_built", None, "One row per sag that was measured once the wire was strung.",
        """line! section! span! wire! option! temperature_c! sag_m! wanted_sag_m sag_difference_m horizontal_tension_n
        take_out_m state!""", sag_m="sag as measured, clipped in", sag_difference_m="that less the sag that is wanted",
        horizontal_tension_n="horizontal tension that the sag tells",
        state="`within the tolerance`, `take wire out`, `let wire out`, or `no tolerance is given`"),
    _layer(
        "as_built_sections", None, "One row per section: the minimum margin of the whole check with its wires as they "
        "were measured, the slackest and the tautest; without measured wires as they are meant to hang.",
        """line! section! option! wires! most_sag_m minimum_sag_m span against obstacle case margin_m words!""",
        wires="wires whose sag was measured", margin_m="the minimum margin"),
)


def write_reference(path):
    """Write the reference page of `stringing.gpkg` as Markdown."""
    head = ("# Files of `corridor stringing`: layers and columns\n\n*Made from `corridor/outputs/stringing_layers.py`; "
            "a test fails where the two differ.*\n\nUnits and keys are those of the [findings](findings.md); columns "
            "marked * are never null, and a null is never a pass. How they are found: [stringing](stringing.md).\n\n")
    Path(path).write_text(head + "\n".join(map(reference_of, STRINGING_LAYERS)), encoding="utf-8")
