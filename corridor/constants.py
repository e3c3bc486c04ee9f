"""Physical constants and the few numbers that every room of the house shares."""

import errno

#: Standard acceleration of free fall [m/s2] (CGPM 1901).
GRAVITY = 9.80665

#: Mean radius of the Earth [m] (IUGG R1), for the elevation factor of distances.
EARTH_RADIUS = 6_371_008.8

#: Endings of the logs that SQLite keeps beside a database that is open, or was when its program died; read with it.
SQLITE_LOGS = ("-wal", "-journal")

#: Numbers of errors that tell of no room: on the disk, in the share of a person, in a file.
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)

#: Density of glaze ice [kg/m³]: 57 lb/ft³, the value US codes use.
GLAZE_DENSITY = 913.0
