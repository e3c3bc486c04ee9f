"""The text files of the invented corridor: study, framings, rules; all numbers in SI units."""

STUDY = """\
[study]
title = "Serpentine of {spans} spans, 110 kV"
crs = "{crs}"
voltage = "110 kV"
frequency = 50
method = "{method}"
output = "findings.gpkg"

[terrain]
ground = ["ground.tif"]
vertical_unit = "m"

[structures]
file = "line.gpkg"
layer = "structures"

[framings]
file = "framings.csv"

[rules]
file = "rules.csv"
"""

OPTION = """
[[options]]
name = "{name}"
conductor = "{name} wire"{existing}
maximum_temperature = {maximum}
emergency_temperature = {emergency}
[[options.stringing]]
limit = "1200 m"
temperature = 10
condition = "final"

[[conductors]]
name = "{name} wire"
outer_area = {outer_area}
core_area = {core_area}
diameter = {diameter}
mass = {mass}
rts = {rts}
resistance_20 = {resistance}
outer_modulus = {outer_modulus}
core_modulus = {core_modulus}
outer_expansion = {outer_expansion}
core_expansion = {core_expansion}
permanent_set = {permanent_set}
compression = {compression}
elongation = "linear"
"""

_STEEL_CORE = {
    "outer_area": 264e-6,
    "core_area": 62e-6,
    "diameter": 0.0234,
    "mass": 1.215,
    "outer_modulus": 55e9,
    "core_modulus": 190e9,
    "outer_expansion": 23e-6,
    "core_expansion": 11.5e-6,
    "permanent_set": 8.2e-4,
    "compression": 10e6,
}
_CARBON_CORE = {
    "outer_area": 345e-6,
    "core_area": 50e-6,
    "diameter": 0.0235,
    "mass": 1.05,
    "outer_modulus": 55e9,
    "core_modulus": 115e9,
    "outer_expansion": 23e-6,
    "core_expansion": 1.6e-6,
    "permanent_set": 1.45e-3,
    "compression": 5e6,
}

#: Invented conductors of plausible proportions, SI units: hard-drawn and thermal-alloy aluminium on
#: steel, annealed aluminium on a carbon composite.
OPTIONS = (
    _STEEL_CORE
    | {
        "name": "existing",
        "existing": "\nexisting = true",
        "maximum": 75,
        "emergency": 90,
        "rts": 105e3,
        "resistance": 1.09e-4,
    },
    _STEEL_CORE
    | {
        "name": "thermal alloy",
        "existing": "",
        "maximum": 150,
        "emergency": 180,
        "rts": 106e3,
        "resistance": 1.11e-4,
    },
    _CARBON_CORE
    | {
        "name": "carbon core",
        "existing": "",
        "maximum": 175,
        "emergency": 200,
        "rts": 118e3,
        "resistance": 8.1e-5,
    },
)

CASES = """
[[cases]]
name = "hot"
temperature = "maximum"
checks = ["vertical"]

[[cases]]
name = "emergency"
temperature = "emergency"
checks = ["vertical"]

[[cases]]
name = "ice"
temperature = 0
ice = 0.012
ice_density = 913
checks = ["vertical"]

[[cases]]
name = "cold"
temperature = -20
checks = ["vertical"]

[[obstacles]]
name = "roads"
file = "obstacles.gpkg"
layer = "roads"
category = "road"
height = 0
id_column = "id"

[[obstacles]]
name = "buildings"
file = "obstacles.gpkg"
layer = "buildings"
category = "building"
height_column = "height"
id_column = "id"

[[obstacles]]
name = "trees"
file = "obstacles.gpkg"
layer = "trees"
category = "tree"
height_column = "height"
radius_column = "radius"
id_column = "id"
"""

FRAMINGS = """\
framing,wire,kind,circuit,offset,height,string,string_length,string_mass
tangent,left,phase,one,-6.0,26.0,suspension,1.8,60
tangent,middle,phase,one,0.0,27.5,suspension,1.8,60
tangent,right,phase,one,6.0,26.0,suspension,1.8,60
anchor,left,phase,one,-6.0,24.0,strain,0,0
anchor,middle,phase,one,0.0,25.5,strain,0,0
anchor,right,phase,one,6.0,24.0,strain,0,0
"""

RULES = """\
rule,against,measure,base
over ground,ground,vertical,6.0
over roads,road,vertical,7.0
over buildings,building,vertical,4.0
over trees,tree,vertical,2.5
"""
